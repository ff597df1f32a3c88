//! The flash does what it says.

use super::*;

type Four = Nor<4, 64>;

fn erased() -> Four {
    let mut nor = Four::new(2, 1);
    nor.erase(0, 128).unwrap();
    nor
}

fn read(nor: &mut Four, at: u32) -> Option<[u8; 4]> {
    let mut bytes = [0; 4];
    nor.read(at, &mut bytes).ok().map(|()| bytes)
}

#[test]
fn a_word_is_programmed_once_and_aligned() {
    let mut nor = erased();
    nor.write(8, &[1, 2, 3, 4]).unwrap();
    assert_eq!(read(&mut nor, 8), Some([1, 2, 3, 4]));
    assert!(nor.write(8, &[1, 2, 3, 4]).is_err());
    assert!(nor.write(14, &[0; 4]).is_err());
    assert!(nor.write(16, &[0; 3]).is_err());
    assert!(nor.erase(0, 32).is_err());
    assert!(nor.read(126, &mut [0; 4]).is_err());
    assert_eq!(nor.wrong_use.len(), 5, "{:?}", nor.wrong_use);
}

#[test]
fn after_a_cut_nothing_answers_until_the_next_boot() {
    let mut nor = erased();
    nor.cut_after(1, Torn::Prefix);
    assert!(nor.write(0, &[0; 12]).is_err());
    assert_eq!(nor.hit(), Some(Hit::Program(4)));
    assert_eq!(read(&mut nor, 0), None);
    assert!(nor.erase(0, 64).is_err());
    nor.boot();
    assert_eq!(read(&mut nor, 0), Some([0; 4]));
    assert_eq!(read(&mut nor, 4), Some([0xff; 4]));
    assert_eq!(read(&mut nor, 8), Some([0xff; 4]));
    assert!(nor.wrong_use.is_empty());
}

#[test]
fn every_way_of_tearing_a_word() {
    let torn = |torn| {
        let mut nor = erased();
        nor.cut_after(0, torn);
        nor.write(0, &[5, 6, 7, 8, 9, 9, 9, 9]).unwrap_err();
        nor.boot();
        nor
    };
    let seen = |kind, at| read(&mut torn(kind), at);
    assert_eq!(seen(Torn::Prefix, 0), Some([0xff; 4]));
    assert_eq!(seen(Torn::ReadError, 0), None);
    assert_eq!(seen(Torn::LooksBlank, 0), Some([0xff; 4]));
    assert_eq!(seen(Torn::LooksRight, 0), Some([5, 6, 7, 8]));
    assert_eq!(seen(Torn::LooksRight, 4), Some([0xff; 4]));
    assert_eq!(seen(Torn::OutOfOrder, 4), Some([9; 4]));
    assert_ne!(seen(Torn::Rest, 4), Some([0xff; 4]));
    let mut nor = torn(Torn::Unstable);
    assert_ne!(read(&mut nor, 0), read(&mut nor, 0));
    let mut nor = torn(Torn::LooksRight);
    nor.boot();
    assert_ne!(read(&mut nor, 0), Some([5, 6, 7, 8]));
    let mut nor = torn(Torn::LooksBlank);
    nor.write(0, &[1, 2, 3, 4]).unwrap();
    assert_eq!(read(&mut nor, 0), Some([1, 2, 3, 4]));
    nor.boot();
    assert_ne!(read(&mut nor, 0), Some([1, 2, 3, 4]));
}

#[test]
fn every_way_of_tearing_a_page() {
    let seen = |torn, at| {
        let mut nor = erased();
        nor.write(0, &[7; 64]).unwrap();
        nor.cut_after(0, torn);
        nor.erase(0, 64).unwrap_err();
        nor.boot();
        read(&mut nor, at)
    };
    assert_eq!((seen(Torn::Prefix, 0), seen(Torn::Prefix, 60)), (Some([0xff; 4]), Some([7; 4])));
    assert_eq!(seen(Torn::ReadError, 32), None);
    assert_eq!(seen(Torn::LooksBlank, 32), Some([0xff; 4]));
    assert_eq!(seen(Torn::LooksRight, 32), Some([7; 4]));
    assert_eq!(seen(Torn::Some, 32).unwrap().map(|b| b & 7), [7; 4]);
}
