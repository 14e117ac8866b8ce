//! A plot as PNG: the SVG document drawn in pixels, with the same face on every machine.

use std::sync::{Arc, LazyLock};

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::fontdb::Database;
use resvg::usvg::{Options, Tree};

use super::PlotError;

const FACES: [&[u8]; 2] = [
    include_bytes!("../../fonts/DejaVuSansCondensed.ttf"),
    include_bytes!("../../fonts/DejaVuSansCondensed-Bold.ttf"),
];

const FAMILY: &str = "DejaVu Sans Condensed";

/// Pixels of a page unit: sharp on paper, at some 190 dots an inch over the width of a landscape page.
const PIXELS: f32 = 2.0;

static FONTS: LazyLock<Arc<Database>> = LazyLock::new(|| {
    let mut fonts = Database::new();
    for face in FACES {
        fonts.load_font_data(face.to_vec());
    }
    fonts.set_sans_serif_family(FAMILY);
    Arc::new(fonts)
});

/// Draws an SVG document of this crate in pixels.
///
/// # Errors
/// When the document is too large for the memory.
pub fn png(svg: &str) -> Result<Vec<u8>, PlotError> {
    let options = Options {
        fontdb: Arc::clone(&FONTS),
        font_family: FAMILY.to_owned(),
        ..Options::default()
    };
    let refused = |error: &dyn std::fmt::Display| PlotError(error.to_string());
    let tree = Tree::from_str(svg, &options).map_err(|error| refused(&error))?;
    let size = tree.size();
    let pixels = |length: f32| (length * PIXELS).ceil() as u32;
    let mut picture = Pixmap::new(pixels(size.width()), pixels(size.height()))
        .ok_or_else(|| refused(&"it is too large for a picture; write SVG"))?;
    resvg::render(
        &tree,
        Transform::from_scale(PIXELS, PIXELS),
        &mut picture.as_mut(),
    );
    picture.encode_png().map_err(|error| refused(&error))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_is_drawn_with_the_face_that_is_brought_along() {
        let of = |words: &str| {
            let svg = format!(
                "<svg width=\"40\" height=\"20\" xmlns=\"http://www.w3.org/2000/svg\"><text x=\"2\" y=\"15\" \
                 font-family=\"Helvetica, Arial, 'DejaVu Sans', sans-serif\" font-size=\"14\">{words}</text></svg>"
            );
            png(&svg).unwrap()
        };
        let (blank, written) = (of(""), of("pps"));
        assert_eq!(&written[1..4], b"PNG");
        assert_eq!(&written[16..24], [0, 0, 0, 80, 0, 0, 0, 40]);
        assert_ne!(blank, written);
        assert_eq!(of("pps"), written);
    }
}
