//! The companding laws of telephony: ITU-T Recommendation G.711 (11/1988), tables 1a to 2b.
//!
//! Values are on the scale that telephony software agrees on: 16-bit words, left-justified, so that
//! the 14-bit mu-law values of the Recommendation stand multiplied by 4 and the 13-bit A-law values
//! by 8.

/// Value of a mu-law code on the 16-bit scale, ±32 124 at most.
pub(crate) const fn mu_law(code: u8) -> i16 {
    let code = !code;
    let segment = (code >> 4) & 7;
    let step = (code & 15) as i16;
    // 33 is the bias of the law on the 14-bit scale, 132 on this one.
    let magnitude = (((step << 3) + 132) << segment) - 132;
    if code & 0x80 == 0 {
        magnitude
    } else {
        -magnitude
    }
}

/// Value of an A-law code on the 16-bit scale, ±32 256 at most.
pub(crate) const fn a_law(code: u8) -> i16 {
    // Even bits travel inverted.
    let code = code ^ 0x55;
    let segment = (code >> 4) & 7;
    let step = (code & 15) as i16;
    let magnitude = match segment {
        0 => (step << 4) + 8,
        _ => ((step << 4) + 264) << (segment - 1),
    };
    if code & 0x80 == 0 {
        -magnitude
    } else {
        magnitude
    }
}

/// Every code's value with full scale ±1.
pub(crate) static MU_LAW: [f32; 256] = table(false);
/// Every code's value with full scale ±1.
pub(crate) static A_LAW: [f32; 256] = table(true);

const fn table(a: bool) -> [f32; 256] {
    let mut values = [0.0; 256];
    let mut code = 0;
    while code < 256 {
        let value = if a {
            a_law(code as u8)
        } else {
            mu_law(code as u8)
        };
        values[code] = value as f32 / 32768.0;
        code += 1;
    }
    values
}
