//! What an ELF image holds: sizes of sections, symbols with their code, frame sizes.

use std::collections::BTreeMap;
use std::path::Path;

use object::elf::{SHF_ALLOC, SHF_WRITE};
use object::read::elf::{ElfFile32, SectionHeader};
use object::{Endianness, Object, ObjectSection, ObjectSymbol, SymbolKind};

use crate::shell::{Failure, Outcome};

/// A function of an image.
#[derive(Clone, Debug)]
pub struct Function {
    /// Where it begins.
    pub address: u32,
    /// Its name, readable.
    pub name: String,
    /// Its machine code.
    pub code: Vec<u8>,
    /// Which parts of the code are data, as offsets: constants between instructions.
    pub data: Vec<std::ops::Range<usize>>,
    /// Its own frame in bytes, if the compiler said.
    pub frame: Option<u32>,
}

/// Sizes and functions of one image.
#[derive(Clone, Debug)]
pub struct Image {
    /// Instructions and constants, and the first values of variables: what lies in flash.
    pub flash: u64,
    /// Variables: what lies in RAM besides the stack.
    pub ram: u64,
    /// Every function, by address.
    pub functions: Vec<Function>,
    /// Every symbol's readable name and size.
    pub symbols: Vec<(String, u64)>,
}

impl Image {
    /// Reads an image.
    pub fn read(path: &Path) -> Outcome<Self> {
        let bytes = std::fs::read(path)
            .map_err(|e| Failure::Check(format!("cannot read {}: {e}", path.display())))?;
        Self::parse(&bytes).map_err(|e| Failure::Check(format!("{}: {e}", path.display())))
    }

    fn parse(bytes: &[u8]) -> Result<Self, object::Error> {
        let elf = ElfFile32::<Endianness>::parse(bytes)?;
        let (mut flash, mut ram) = (0, 0);
        for section in elf.sections() {
            let flags = section.elf_section_header().sh_flags(elf.endian());
            if flags.0 & SHF_ALLOC.0 == 0 {
                continue;
            }
            let writable = flags.0 & SHF_WRITE.0 != 0;
            let has_bytes = section.file_range().is_some();
            // First values of variables take both: flash to keep them, RAM to use them.
            flash += if has_bytes { section.size() } else { 0 };
            ram += if writable { section.size() } else { 0 };
        }
        let frames = match elf.section_by_name(".stack_sizes") {
            Some(section) => frames(section.data()?),
            None => BTreeMap::new(),
        };
        let symbols = elf
            .symbols()
            .filter(|s| s.size() > 0)
            .filter_map(|s| Some((readable(s.name().ok()?), s.size())))
            .collect();
        Ok(Self { flash, ram, functions: functions(&elf, &frames), symbols })
    }

    /// The size of the first symbol whose name ends so.
    pub fn size_of(&self, ending: &str) -> Option<u64> {
        self.symbols.iter().find(|(name, _)| name.ends_with(ending)).map(|(_, size)| *size)
    }
}

/// A symbol's name as it stands in the source, without the compiler's hash.
fn readable(name: &str) -> String {
    format!("{:#}", rustc_demangle::demangle(name))
}

fn functions(elf: &ElfFile32<'_, Endianness>, frames: &BTreeMap<u32, u32>) -> Vec<Function> {
    let mut marks: Vec<(u32, bool)> = Vec::new();
    let mut found: BTreeMap<u32, (String, u32)> = BTreeMap::new();
    for symbol in elf.symbols() {
        let (Ok(name), address) = (symbol.name(), symbol.address() as u32) else { continue };
        // `$t` and `$d` mark where instructions and where data begin.
        if name.starts_with("$d") || name.starts_with("$t") {
            marks.push((address, name.starts_with("$d")));
        } else if symbol.kind() == SymbolKind::Text && symbol.is_definition() {
            // The lowest bit only says that the code is Thumb.
            let entry = found.entry(address & !1).or_insert_with(|| (String::new(), 0));
            entry.1 = entry.1.max(symbol.size() as u32);
            // Of several names for one piece of code the longest says most.
            if name.len() > entry.0.len() {
                entry.0 = name.to_owned();
            }
        }
    }
    marks.sort_unstable();
    let starts: Vec<u32> = found.keys().copied().collect();
    let mut functions = Vec::new();
    for (i, (address, (name, size))) in found.into_iter().enumerate() {
        let Some((base, bytes)) = text_at(elf, address) else { continue };
        let begin = (address - base) as usize;
        // Hand-written assembly may have no size: it ends where the next function begins.
        let end = if size > 0 {
            begin + size as usize
        } else {
            starts.get(i + 1).map_or(bytes.len(), |next| (next - base) as usize)
        };
        let code = bytes.get(begin..end.min(bytes.len())).unwrap_or(&[]).to_vec();
        let data = data_ranges(&marks, address, code.len());
        let frame = frames.get(&address).copied();
        functions.push(Function { address, name: readable(&name), code, data, frame });
    }
    functions
}

fn text_at<'d>(elf: &ElfFile32<'d, Endianness>, address: u32) -> Option<(u32, &'d [u8])> {
    elf.sections().find_map(|section| {
        let range = section.address()..section.address() + section.size();
        let is_text = section.kind() == object::SectionKind::Text;
        (is_text && range.contains(&u64::from(address)))
            .then(|| Some((section.address() as u32, section.data().ok()?)))?
    })
}

fn data_ranges(marks: &[(u32, bool)], address: u32, len: usize) -> Vec<std::ops::Range<usize>> {
    let end = address + len as u32;
    let mut ranges = Vec::new();
    for (i, (from, is_data)) in marks.iter().enumerate() {
        let to = marks.get(i + 1).map_or(u32::MAX, |(next, _)| *next);
        if *is_data && *from < end && to > address {
            let from = from.saturating_sub(address) as usize;
            ranges.push(from..(to.min(end) - address) as usize);
        }
    }
    ranges
}

/// `.stack_sizes`: an address and a size as a LEB128 number, again and again.
fn frames(mut bytes: &[u8]) -> BTreeMap<u32, u32> {
    let mut frames = BTreeMap::new();
    while let Some((address, rest)) = bytes.split_first_chunk::<4>() {
        let (mut size, mut shift, mut used) = (0_u32, 0, 0);
        for byte in rest {
            used += 1;
            size |= u32::from(byte & 0x7f) << shift;
            shift += 7;
            if byte & 0x80 == 0 {
                break;
            }
        }
        frames.insert(u32::from_le_bytes(*address) & !1, size);
        bytes = rest.get(used..).unwrap_or(&[]);
    }
    frames
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frame_sizes_are_read_as_leb128() {
        let bytes = [0x01, 0x10, 0, 0, 0x08, 0x20, 0x10, 0, 0, 0x80, 0x02];
        assert_eq!(frames(&bytes), BTreeMap::from([(0x1000, 8), (0x1020, 256)]));
    }

    #[test]
    fn constants_between_instructions_are_told_apart() {
        let marks = [(0x100, false), (0x110, true), (0x118, false), (0x140, true)];
        let one = data_ranges(&marks, 0x100, 0x20);
        assert!(matches!(one.as_slice(), [range] if *range == (0x10..0x18)));
        assert_eq!(data_ranges(&marks, 0x114, 0x30), [0..4, 0x2c..0x30]);
    }
}
