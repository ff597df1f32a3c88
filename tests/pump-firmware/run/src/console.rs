//! Text to the machine that runs the emulator, a line at a time: each call costs it far more than a byte does.

use core::fmt;

use cortex_m_semihosting::hio::{HostStream, hstdout};

/// Gathers a line, then writes it.
pub struct Console {
    line: [u8; 160],
    len: usize,
    out: Option<HostStream>,
}

impl Console {
    /// Standard output of the emulator.
    #[must_use]
    pub fn new() -> Self {
        Self { line: [0; 160], len: 0, out: hstdout().ok() }
    }

    fn flush(&mut self) -> fmt::Result {
        let line = self.line.get(..self.len).unwrap_or(&[]);
        self.len = 0;
        self.out.as_mut().ok_or(fmt::Error)?.write_all(line).map_err(|()| fmt::Error)
    }
}

impl Default for Console {
    fn default() -> Self {
        Self::new()
    }
}

impl fmt::Write for Console {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        for byte in text.bytes() {
            if let Some(place) = self.line.get_mut(self.len) {
                *place = byte;
                self.len = self.len.saturating_add(1);
            }
            if byte == b'\n' || self.len == self.line.len() {
                self.flush()?;
            }
        }
        Ok(())
    }
}
