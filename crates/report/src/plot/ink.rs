//! The colours of a plot: a light and a dark set in step, told apart by colour-blind eyes and in grey.

use plotters::style::RGBColor;

/// How a plot is coloured.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Theme {
    /// Light, and dark where the viewer asks for dark (`prefers-color-scheme`). Prints light.
    #[default]
    Auto,
    /// Light always.
    Light,
    /// Dark always.
    Dark,
}

/// What a stroke or a surface stands for. Every ink has a light and a dark colour; no two inks share a
/// light colour, since the style sheet of [`Theme::Auto`] finds them by it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ink {
    Paper,
    Text,
    Quiet,
    Grid,
    Trace,
    Break,
    BreakTint,
    OnBreak,
    Band,
    Limit,
    Speed,
    Share,
    Chatter,
    Pass,
    Fail,
    Undecided,
    OnBadge,
}

/// Light and dark colour of each ink. Data colours follow the palette of Okabe and Ito (2008), darkened
/// or lightened until they stand out from the paper by at least 4.5 to 1 where they carry text.
const INKS: [(Ink, [u8; 3], [u8; 3]); 17] = [
    (Ink::Paper, [0xFF, 0xFF, 0xFF], [0x15, 0x19, 0x1E]),
    (Ink::Text, [0x1B, 0x1F, 0x24], [0xE8, 0xEB, 0xEF]),
    (Ink::Quiet, [0x56, 0x5F, 0x6A], [0x9D, 0xA8, 0xB4]),
    (Ink::Grid, [0xDD, 0xE1, 0xE6], [0x2C, 0x33, 0x3B]),
    (Ink::Trace, [0x2A, 0x33, 0x40], [0xD3, 0xDB, 0xE4]),
    (Ink::Break, [0x00, 0x5F, 0x96], [0x56, 0xB4, 0xE9]),
    (Ink::BreakTint, [0xE6, 0xF0, 0xF7], [0x1C, 0x2B, 0x37]),
    (Ink::OnBreak, [0xFE, 0xFE, 0xFE], [0x0C, 0x14, 0x1B]),
    (Ink::Band, [0xDF, 0xF1, 0xE9], [0x18, 0x35, 0x2C]),
    (Ink::Limit, [0x00, 0x7D, 0x5B], [0x35, 0xC4, 0x98]),
    (Ink::Speed, [0x00, 0x5A, 0x8E], [0x62, 0xBB, 0xEE]),
    (Ink::Share, [0xA8, 0x45, 0x00], [0xF0, 0xA4, 0x4B]),
    (Ink::Chatter, [0xB0, 0x4A, 0x84], [0xE5, 0x9A, 0xC4]),
    (Ink::Pass, [0x00, 0x72, 0x53], [0x3A, 0xC9, 0x9D]),
    (Ink::Fail, [0xB3, 0x47, 0x00], [0xFF, 0x8F, 0x45]),
    (Ink::Undecided, [0x57, 0x60, 0x6B], [0xA9, 0xB3, 0xBE]),
    (Ink::OnBadge, [0xFD, 0xFD, 0xFD], [0x10, 0x14, 0x18]),
];

impl Ink {
    fn pair(self) -> ([u8; 3], [u8; 3]) {
        let (_, light, dark) = INKS[self as usize];
        (light, dark)
    }

    /// The colour of this ink under `theme`.
    pub(super) fn colour(self, theme: Theme) -> RGBColor {
        let (light, dark) = self.pair();
        let [red, green, blue] = if theme == Theme::Dark { dark } else { light };
        RGBColor(red, green, blue)
    }
}

/// Style sheet that turns the light inks into the dark ones for viewers that prefer dark.
pub(super) fn dark_style_sheet() -> String {
    let hex = |[red, green, blue]: [u8; 3]| format!("#{red:02X}{green:02X}{blue:02X}");
    let mut rules = String::new();
    for (_, light, dark) in INKS {
        let (light, dark) = (hex(light), hex(dark));
        rules.push_str(&format!(
            "[fill=\"{light}\"]{{fill:{dark}}}[stroke=\"{light}\"]{{stroke:{dark}}}\n"
        ));
    }
    format!("<style>\n@media screen and (prefers-color-scheme: dark) {{\n{rules}}}\n</style>\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance and contrast ratio as in WCAG 2.1.
    fn luminance(RGBColor(red, green, blue): RGBColor) -> f64 {
        let linear = |c: u8| {
            let c = f64::from(c) / 255.0;
            if c <= 0.04045 {
                c / 12.92
            } else {
                ((c + 0.055) / 1.055).powf(2.4)
            }
        };
        0.2126 * linear(red) + 0.7152 * linear(green) + 0.0722 * linear(blue)
    }

    fn contrast(a: Ink, b: Ink, theme: Theme) -> f64 {
        let (a, b) = (luminance(a.colour(theme)), luminance(b.colour(theme)));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    #[test]
    fn table_is_in_the_order_of_the_enum_and_no_light_colour_is_used_twice() {
        for (index, (ink, light, _)) in INKS.iter().enumerate() {
            assert_eq!(*ink as usize, index);
            assert_eq!(
                INKS.iter().filter(|other| other.1 == *light).count(),
                1,
                "{ink:?}"
            );
        }
    }

    #[test]
    fn text_stands_out_from_what_it_is_written_on() {
        let written = [
            (Ink::Text, Ink::Paper),
            (Ink::Quiet, Ink::Paper),
            (Ink::OnBreak, Ink::Break),
            (Ink::OnBadge, Ink::Pass),
            (Ink::OnBadge, Ink::Fail),
            (Ink::Speed, Ink::Paper),
            (Ink::Share, Ink::Paper),
            (Ink::Limit, Ink::Paper),
            (Ink::Chatter, Ink::Paper),
            (Ink::Undecided, Ink::Paper),
            (Ink::Speed, Ink::Band),
            (Ink::Share, Ink::Band),
        ];
        for theme in [Theme::Light, Theme::Dark] {
            for (text, ground) in written {
                let ratio = contrast(text, ground, theme);
                assert!(
                    ratio >= 4.5,
                    "{text:?} on {ground:?}, {theme:?}: {ratio:.2}"
                );
            }
        }
    }
}
