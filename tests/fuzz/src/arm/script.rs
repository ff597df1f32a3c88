//! The script: a byte that says what, and bytes that say how much.

/// What is left of a script. Beyond its end there are zeros.
#[derive(Clone, Copy, Debug)]
pub struct Script<'a>(pub &'a [u8]);

impl Script<'_> {
    /// The next bytes as a number, lowest first.
    fn number(&mut self, bytes: usize) -> u64 {
        let (now, rest) = self.0.split_at(bytes.min(self.0.len()));
        self.0 = rest;
        now.iter().rev().fold(0, |n, b| n << 8 | u64::from(*b))
    }

    /// One byte.
    pub fn u8(&mut self) -> u8 {
        self.number(1) as u8
    }

    /// Two bytes.
    pub fn u16(&mut self) -> u16 {
        self.number(2) as u16
    }

    /// Four bytes.
    pub fn u32(&mut self) -> u32 {
        self.number(4) as u32
    }

    /// Eight bytes.
    pub fn u64(&mut self) -> u64 {
        self.number(8)
    }
}
