//! Who calls whom, from the machine code, and how deep the stack can get.
//!
//! Thumb instructions only. What it cannot see it says: calls through a register, recursion, and functions whose
//! frame neither the compiler nor their first instructions tell.

use std::collections::{BTreeMap, BTreeSet};

use super::image::{Function, Image};

/// One function's own frame and what it calls.
#[derive(Debug, Default)]
struct Node {
    name: String,
    frame: u32,
    calls: BTreeSet<u32>,
    /// It jumps or calls to an address in a register.
    indirect: bool,
}

/// All functions of an image with their calls.
#[derive(Debug)]
pub struct CallGraph {
    nodes: BTreeMap<u32, Node>,
}

/// The deepest the stack gets below a function, its own frame included.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Deepest {
    /// Bytes.
    pub bytes: u32,
    /// The functions along the way, with their frames.
    pub path: Vec<(String, u32)>,
    /// Functions on any way down whose calls cannot all be seen.
    pub unseen: BTreeSet<String>,
}

impl CallGraph {
    /// From the machine code of an image.
    pub fn of(image: &Image) -> Self {
        let nodes = image.functions.iter().map(|f| (f.address, node(f))).collect();
        Self { nodes }
    }

    /// The address of the function whose name ends so.
    pub fn find(&self, ending: &str) -> Option<u32> {
        self.nodes.iter().find(|(_, n)| n.name.ends_with(ending)).map(|(a, _)| *a)
    }

    /// The deepest the stack gets from a function down.
    pub fn deepest(&self, from: u32) -> Deepest {
        self.walk(from, &mut Vec::new(), &mut BTreeMap::new())
    }

    fn walk(
        &self,
        at: u32,
        under_way: &mut Vec<u32>,
        known: &mut BTreeMap<u32, Deepest>,
    ) -> Deepest {
        if let Some(known) = known.get(&at) {
            return known.clone();
        }
        let Some(node) = self.nodes.get(&at) else {
            let unseen = BTreeSet::from([format!("code at {at:#x} that has no name")]);
            return Deepest { bytes: 0, path: Vec::new(), unseen };
        };
        if under_way.contains(&at) {
            let unseen = BTreeSet::from([format!("{} (calls itself)", node.name)]);
            return Deepest { bytes: 0, path: Vec::new(), unseen };
        }
        under_way.push(at);
        let mut worst = Deepest { bytes: 0, path: Vec::new(), unseen: BTreeSet::new() };
        for callee in &node.calls {
            let mut below = self.walk(*callee, under_way, known);
            worst.unseen.append(&mut below.unseen);
            if below.bytes > worst.bytes {
                worst = Deepest { unseen: worst.unseen, ..below };
            }
        }
        under_way.pop();
        if node.indirect {
            worst.unseen.insert(node.name.clone());
        }
        worst.bytes += node.frame;
        worst.path.insert(0, (node.name.clone(), node.frame));
        known.insert(at, worst.clone());
        worst
    }

    /// The functions whose names begin so, as (rest of the name, address).
    pub fn named(&self, beginning: &str) -> Vec<(String, u32)> {
        let rest = |n: &Node| n.name.strip_prefix(beginning).map(str::to_owned);
        self.nodes.iter().filter_map(|(a, n)| Some((rest(n)?, *a))).collect()
    }

    /// The functions that call one whose name begins so, without those of that name themselves.
    pub fn callers_of(&self, beginning: &str) -> Vec<u32> {
        let is_one = |a: &u32| self.nodes.get(a).is_some_and(|n| n.name.starts_with(beginning));
        let calls_one = |n: &Node| n.calls.iter().any(is_one) && !n.name.starts_with(beginning);
        self.nodes.iter().filter(|(_, n)| calls_one(n)).map(|(a, _)| *a).collect()
    }

    /// The shortest chain of calls from a function to another, by name.
    pub fn chain_to(&self, from: u32, to: u32) -> Option<Vec<String>> {
        let mut chains = vec![vec![from]];
        let mut seen = BTreeSet::from([from]);
        while !chains.is_empty() {
            let mut longer = Vec::new();
            for chain in chains {
                let last = *chain.last()?;
                if last == to {
                    let name = |a: &u32| self.nodes.get(a).map(|n| n.name.clone());
                    return chain.iter().map(name).collect();
                }
                let Some(node) = self.nodes.get(&last) else { continue };
                for callee in &node.calls {
                    if seen.insert(*callee) {
                        longer.push([chain.as_slice(), &[*callee]].concat());
                    }
                }
            }
            chains = longer;
        }
        None
    }
}

fn node(function: &Function) -> Node {
    let mut node = Node { name: function.name.clone(), ..Node::default() };
    let own = function.address..function.address + function.code.len() as u32;
    let mut pushed = 0;
    let mut at = 0;
    while let Some(first) = half(&function.code, at) {
        if function.data.iter().any(|d| d.contains(&at)) {
            at += 2;
            continue;
        }
        let address = function.address + at as u32;
        let (length, instruction) = match half(&function.code, at + 2) {
            Some(second) if is_wide(first) => (4, wide(first, second, address)),
            _ => (2, narrow(first, address)),
        };
        match instruction {
            // A jump too far for `b` is written as a call on a Cortex-M0, within one function too.
            Instruction::Call(target) if target == function.address || !own.contains(&target) => {
                node.calls.extend([target]);
            }
            Instruction::Jump(target) if !own.contains(&target) => node.calls.extend([target]),
            Instruction::Indirect => node.indirect = true,
            Instruction::Push(bytes) => pushed += bytes,
            Instruction::Call(_) | Instruction::Jump(_) | Instruction::Other => {}
        }
        at += length;
    }
    // Hand-written assembly says no frame: everything it pushes is an upper bound as long as it has no loops.
    node.frame = function.frame.unwrap_or(pushed);
    node
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Instruction {
    Call(u32),
    Jump(u32),
    Indirect,
    Push(u32),
    Other,
}

fn half(code: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_le_bytes([*code.get(at)?, *code.get(at + 1)?]))
}

const fn is_wide(first: u16) -> bool {
    first >= 0xe800
}

fn narrow(code: u16, address: u32) -> Instruction {
    let relative =
        |offset: i32| Instruction::Jump(address.wrapping_add(4).wrapping_add_signed(offset));
    match code {
        // push {registers}, push {registers, lr}
        c if c & 0xfe00 == 0xb400 => Instruction::Push((c & 0x1ff).count_ones() * 4),
        // sub sp, #n
        c if c & 0xff80 == 0xb080 => Instruction::Push(u32::from(c & 0x7f) * 4),
        // blx register
        c if c & 0xff87 == 0x4780 => Instruction::Indirect,
        // bx register, but for bx lr: a return
        c if c & 0xff87 == 0x4700 && c != 0x4770 => Instruction::Indirect,
        // b
        c if c & 0xf800 == 0xe000 => relative(sign_extended(u32::from(c & 0x7ff), 11) * 2),
        // b<condition>
        c if c & 0xf000 == 0xd000 && c & 0x0f00 < 0x0e00 => {
            relative(sign_extended(u32::from(c & 0xff), 8) * 2)
        }
        _ => Instruction::Other,
    }
}

fn wide(first: u16, second: u16, address: u32) -> Instruction {
    if first & 0xf800 != 0xf000 || second & 0x8000 == 0 {
        return Instruction::Other;
    }
    let bit = |half: u16, at: u32| u32::from(half >> at & 1);
    let (s, j1, j2) = (bit(first, 10), bit(second, 13), bit(second, 11));
    let low = u32::from(second & 0x7ff);
    let target = |offset: i32| address.wrapping_add(4).wrapping_add_signed(offset);
    let far = {
        let (i1, i2) = (!(j1 ^ s) & 1, !(j2 ^ s) & 1);
        let high = u32::from(first & 0x3ff);
        sign_extended(s << 23 | i1 << 22 | i2 << 21 | high << 11 | low, 24) * 2
    };
    match second & 0x5000 {
        // bl
        0x5000 => Instruction::Call(target(far)),
        // b.w
        0x1000 => Instruction::Jump(target(far)),
        // b<condition>.w; with a condition of 0b111x it is no jump
        0x0000 if first >> 7 & 7 != 7 => {
            let high = u32::from(first & 0x3f);
            Instruction::Jump(target(
                sign_extended(s << 19 | j2 << 18 | j1 << 17 | high << 11 | low, 20) * 2,
            ))
        }
        _ => Instruction::Other,
    }
}

const fn sign_extended(value: u32, bits: u32) -> i32 {
    let unused = 32 - bits;
    ((value << unused) as i32) >> unused
}

#[cfg(test)]
mod tests {
    use super::*;

    fn function(address: u32, name: &str, code: &[u16], frame: Option<u32>) -> Function {
        let code = code.iter().flat_map(|c| c.to_le_bytes()).collect();
        Function { address, name: name.into(), code, data: Vec::new(), frame }
    }

    fn graph(functions: &[Function]) -> CallGraph {
        CallGraph { nodes: functions.iter().map(|f| (f.address, node(f))).collect() }
    }

    #[test]
    fn calls_and_jumps_are_decoded_as_an_assembler_writes_them() {
        // As disassembled from an image: 1e2a: bl 2554; 1970: b.n 17fa; bl backwards 2448: bl 200c.
        assert_eq!(wide(0xf000, 0xfb93, 0x1e2a), Instruction::Call(0x2554));
        assert_eq!(wide(0xf7ff, 0xfde0, 0x2448), Instruction::Call(0x200c));
        assert_eq!(narrow(0xe743, 0x1970), Instruction::Jump(0x17fa));
        assert_eq!(narrow(0x4770, 0), Instruction::Other);
        assert_eq!(narrow(0x4798, 0), Instruction::Indirect);
        assert_eq!(narrow(0xb5f0, 0), Instruction::Push(20));
        assert_eq!(narrow(0xb082, 0), Instruction::Push(8));
    }

    #[test]
    fn the_deepest_way_down_is_found_and_blind_spots_are_named() {
        // 0x100 calls 0x200 and 0x300; 0x300 calls through r3.
        let first = [0xf000, 0xf87e, 0xf000, 0xf8fc, 0x4770];
        let graph = graph(&[
            function(0x100, "top", &first, Some(8)),
            function(0x200, "deep", &[0x4770], Some(100)),
            function(0x300, "flat", &[0x4798, 0x4770], Some(4)),
        ]);
        let deepest = graph.deepest(0x100);
        assert_eq!(deepest.bytes, 108);
        assert_eq!(deepest.path.iter().map(|p| p.0.as_str()).collect::<Vec<_>>(), ["top", "deep"]);
        assert_eq!(deepest.unseen, BTreeSet::from(["flat".to_owned()]));
        assert_eq!(graph.chain_to(0x100, 0x300).unwrap(), ["top", "flat"]);
        assert_eq!(graph.chain_to(0x200, 0x300), None);
        assert_eq!(graph.callers_of("flat"), [0x100]);
    }

    #[test]
    fn recursion_is_named() {
        let own = function(0x100, "round", &[0xf7ff, 0xfffe], Some(8));
        assert_eq!(
            graph(&[own]).deepest(0x100).unseen,
            BTreeSet::from(["round (calls itself)".to_owned()])
        );
    }
}
