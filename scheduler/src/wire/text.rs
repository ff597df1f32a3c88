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

#[cfg(test)]
mod tests {
    use super::*;

    fn as_the_library_says(bytes: &[u8]) -> Text {
        match core::str::from_utf8(bytes) {
            Ok(text) if text.chars().any(char::is_control) => Text::Control,
            Ok(_) => Text::Plain,
            Err(_) => Text::NotUtf8,
        }
    }

    fn agrees(bytes: &[u8]) {
        assert_eq!(Text::of(bytes), as_the_library_says(bytes), "{bytes:02x?}");
    }

    #[test]
    fn one_to_three_bytes_are_what_the_library_says() {
        agrees(&[]);
        for a in 0..=255 {
            agrees(&[a]);
            for b in 0..=255 {
                agrees(&[a, b]);
                (0..=255).for_each(|c| agrees(&[a, b, c]));
            }
        }
    }

    #[test]
    fn four_bytes_are_what_the_library_says() {
        // Every lead byte of four, and for the others the edges of every rule.
        let edges = [0x00, 0x41, 0x7f, 0x80, 0x8f, 0x90, 0x9f, 0xa0, 0xbf, 0xc0, 0xc2, 0xf0, 0xff];
        for a in 0xe0..=255 {
            for b in 0..=255 {
                for c in edges {
                    edges.into_iter().for_each(|d| agrees(&[a, b, c, d]));
                }
            }
        }
    }

    #[test]
    fn every_character_is_a_text() {
        for character in '\0'..=char::MAX {
            agrees(character.encode_utf8(&mut [0; 4]).as_bytes());
        }
    }

    #[test]
    fn no_utf8_comes_before_control() {
        assert_eq!(Text::of(b"\n"), Text::Control);
        assert_eq!(Text::of(b"\n\xff"), Text::NotUtf8);
        assert_eq!(Text::of(b"plain"), Text::Plain);
    }
}
