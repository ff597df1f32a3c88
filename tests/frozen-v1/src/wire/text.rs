//! Whether bytes are a text that people can read on one line.
//!
//! The library's own check goes word by word for speed, and takes as much flash as half a reader.

/// What bytes turn out to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Text {
    /// UTF-8 without control characters.
    Plain,
    /// UTF-8 with a control character.
    Control,
    /// No UTF-8.
    NotUtf8,
}

impl Text {
    /// Looks at all bytes: what is no UTF-8 is that, whatever control characters stand before the fault.
    #[inline(never)]
    pub(super) fn of(bytes: &[u8]) -> Self {
        let mut text = Self::Plain;
        // How many bytes of a character are to come, and what the next one may be: table 3-7 of the
        // Unicode standard. Of the characters below U+00A0 all but the letters of ASCII are control.
        let (mut follow, mut low, mut high, mut control_below) = (0_u8, 0, 0, 0);
        for &byte in bytes {
            if follow > 0 {
                if byte < low || byte > high {
                    return Self::NotUtf8;
                }
                if byte < control_below {
                    text = Self::Control;
                }
                follow = follow.wrapping_sub(1);
                (low, high, control_below) = (0x80, 0xbf, 0);
                continue;
            }
            (low, high, control_below) = (0x80, 0xbf, 0);
            match byte {
                0x00..=0x1f | 0x7f => text = Self::Control,
                0x20..=0x7e => {}
                0xc2..=0xdf => follow = 1,
                0xe0..=0xef => follow = 2,
                0xf0..=0xf4 => follow = 3,
                _ => return Self::NotUtf8,
            }
            match byte {
                0xc2 => control_below = 0xa0,
                0xe0 => low = 0xa0,
                0xed => high = 0x9f,
                0xf0 => low = 0x90,
                0xf4 => high = 0x8f,
                _ => {}
            }
        }
        if follow > 0 { Self::NotUtf8 } else { text }
    }
}
