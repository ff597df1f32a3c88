//! The lines as this machine tells them.

use std::io::Write;

use lines::{Table, VECTORS, tell};

fn main() -> std::io::Result<()> {
    let mut text = String::new();
    let mut table = Table::empty();
    for vector in VECTORS {
        tell(vector, &mut table, &mut text).map_err(std::io::Error::other)?;
    }
    std::io::stdout().write_all(text.as_bytes())
}
