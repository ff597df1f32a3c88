//! The journal under power cuts: at every operation of a history, two deep on small stores, and at random.
//!
//! Nothing survives a cut but flash. See `draught_tests::nor` for the flash and the ways in which a word or page is
//! torn, and `draught_tests::power` for the histories and what they hold the journal to.
//!
//! `DRAUGHT_HISTORIES` sets the number of random histories, `DRAUGHT_SEED` where their seeds begin; a failure prints
//! the line that replays it.

use draught_tests::nor::{Nor, Torn};
use draught_tests::power::History;
use draught_tests::power::checkpoints::Checkpoints;
use draught_tests::power::explore::{Tried, every_cut, random_history};
use draught_tests::power::records::Records;
use draught_tests::power::shelf::Schedules;
use draught_tests::random::Random;

/// Cuts a history at every operation, in every way, with words of every size.
macro_rules! all_words {
    ($page:literal, $pages:expr, $history:expr, $acts:expr, $depth:expr, $ways:expr) => {{
        let mut tried = Tried::default();
        for torn in $ways {
            tried += cut::<1, $page, _>($pages, $history, $acts, $depth, torn);
            tried += cut::<4, $page, _>($pages, $history, $acts, $depth, torn);
            tried += cut::<8, $page, _>($pages, $history, $acts, $depth, torn);
            tried += cut::<16, $page, _>($pages, $history, $acts, $depth, torn);
            tried += cut::<32, $page, _>($pages, $history, $acts, $depth, torn);
        }
        println!("{tried:?}");
        assert!(tried.programs > 1000 && tried.erases > 50, "{tried:?}");
    }};
}

fn cut<const W: usize, const P: usize, H: History<W, P>>(
    pages: usize,
    mut history: H,
    acts: u32,
    depth: u32,
    torn: Torn,
) -> Tried {
    let mut nor = Nor::<W, P>::new(pages, 1);
    history.boot(&mut nor);
    every_cut((&nor, &history), acts, depth, torn)
        .unwrap_or_else(|wrong| panic!("words of {W} bytes: {wrong}"))
}

// Ordinary stores: the histories go round the ring more than once.

#[test]
fn checkpoints_cut_once_at_every_operation() {
    all_words!(1024, 2, Checkpoints::<64>::new(2), 50, 1, Torn::ALL);
}

#[test]
fn records_cut_once_at_every_operation() {
    all_words!(512, 4, Records::<64>::new(4), 50, 1, Torn::ALL);
}

#[test]
fn schedules_cut_once_at_every_operation() {
    all_words!(256, 4, Schedules::new(4, 1), 16, 1, Torn::ALL);
}

#[test]
fn schedules_on_halves_of_several_pages() {
    all_words!(64, 12, Schedules::new(12, 3), 12, 1, Torn::ALL);
}

// Small stores, where a ring comes round while a cut is being recovered from.

#[test]
fn checkpoints_cut_twice_at_every_operation() {
    // Slots of one page: three. Eight acts go round two pages; a stride that leaves a rest of the page; three pages.
    let ways = Torn::ALL.into_iter().filter(|&t| t != Torn::LooksRight);
    all_words!(96, 2, Checkpoints::<32>::new(2), 8, 2, ways.clone());
    all_words!(96, 3, Checkpoints::<32>::new(3), 6, 2, ways);
    // A page must outlast as many cuts in a row as there are here, each at a last word that fades (see the journal).
    all_words!(192, 2, Checkpoints::<32>::new(2), 8, 2, [Torn::LooksRight]);
}

#[test]
fn records_cut_twice_at_every_operation() {
    all_words!(96, 3, Records::<32>::new(3), 8, 2, Torn::ALL);
}

#[test]
fn schedules_cut_twice_at_every_operation() {
    // Three schedules and an empty place; with words of one byte the two halves and back.
    for torn in Torn::ALL {
        cut::<1, 256, _>(2, Schedules::new(2, 1), 3, 2, torn);
        cut::<4, 256, _>(2, Schedules::new(2, 1), 5, 2, torn);
        cut::<8, 256, _>(2, Schedules::new(2, 1), 5, 2, torn);
        cut::<16, 256, _>(2, Schedules::new(2, 1), 5, 2, torn);
        cut::<32, 256, _>(2, Schedules::new(2, 1), 5, 2, torn);
    }
}

#[test]
fn checkpoints_cut_three_times_in_a_row() {
    // Words of 16 and 32 bytes only: the number of ways grows with the third power of the words.
    for torn in Torn::ALL.into_iter().filter(|&t| t != Torn::LooksRight) {
        let tried = cut::<16, 64, _>(2, Checkpoints::<32>::new(2), 7, 3, torn);
        assert!(tried.programs > 1000 && tried.erases > 50, "{tried:?}");
        cut::<32, 96, _>(2, Checkpoints::<32>::new(2), 9, 3, torn);
    }
}

// At random.

fn from_environment(name: &str) -> Option<u64> {
    let text = std::env::var(name).ok()?;
    Some(text.parse().unwrap_or_else(|_| panic!("{name}={text} is no number")))
}

/// So many histories unless the environment says otherwise.
fn at_random(name: &str, count: u64, history: impl Fn(u64) -> Result<Tried, String>) {
    let first = from_environment("DRAUGHT_SEED").unwrap_or(1);
    let count = from_environment("DRAUGHT_HISTORIES").unwrap_or(count);
    let mut tried = Tried::default();
    for seed in first..first.saturating_add(count) {
        tried += history(seed).unwrap_or_else(|wrong| {
            panic!(
                "{wrong}\nreplay with: DRAUGHT_SEED={seed} DRAUGHT_HISTORIES=1 \
                 cargo test -p draught-tests --test power_loss {name}"
            )
        });
    }
    println!("{name}: seeds {first} to {}: {tried:?}", first + count - 1);
    assert!(tried.programs >= count.saturating_sub(5), "too few cuts: {tried:?}");
}

/// Runs a random history on flash of a random geometry, now and then with bad words or a bad page.
macro_rules! on_some_flash {
    ($seed:expr, $history:expr, [$(($word:literal, $page:literal, $pages:expr)),+ $(,)?]) => {{
        let mut random = Random::new($seed);
        let geometries = [$(($word, $page)),+].len() as u64;
        let mut which = random.below(geometries);
        let mut tried = None;
        $(if tried.is_none() {
            if which == 0 {
                let pages: u16 = $pages;
                let mut nor = Nor::<$word, $page>::new(pages.into(), random.next());
                if random.once_in(8) {
                    let word = random.below(u64::from(pages) * $page / $word) as usize * $word;
                    nor.bad_words.insert(word);
                }
                if pages > 2 && random.once_in(16) {
                    nor.bad_pages.insert(random.below(pages.into()) as usize);
                }
                tried = Some(random_history(nor, $history(pages), &mut random));
            } else {
                which -= 1;
            }
        })+
        tried.unwrap()
    }};
}

#[test]
fn checkpoints_at_random() {
    at_random("checkpoints_at_random", 60_000, |seed| {
        on_some_flash!(
            seed,
            Checkpoints::<32>::new,
            [
                (1, 1024, 2),
                (4, 1024, 2),
                (8, 1024, 3),
                (16, 1024, 2),
                (32, 1024, 4),
                (1, 1344, 2),
                (4, 1056, 3),
            ]
        )
    });
}

#[test]
fn records_at_random() {
    at_random("records_at_random", 40_000, |seed| {
        on_some_flash!(
            seed,
            Records::<32>::new,
            [(1, 192, 3), (4, 256, 4), (8, 128, 6), (16, 256, 3), (32, 96, 5),]
        )
    });
}

#[test]
fn schedules_at_random() {
    at_random("schedules_at_random", 20_000, |seed| {
        on_some_flash!(
            seed,
            |pages| Schedules::new(pages, 1),
            [(1, 256, 2), (4, 256, 6), (8, 256, 4), (16, 512, 2), (32, 256, 4),]
        )
    });
}

// The page.

/// `docs/power-loss.md` with this table between its marks.
fn with_outcomes(page: &str, table: &str) -> String {
    let (begin, end) = ("<!-- outcomes -->\n", "<!-- end of outcomes -->");
    let (before, rest) = page.split_once(begin).expect("the page has a place for the table");
    let (_, after) = rest.split_once(end).expect("the place has an end");
    format!("{before}{begin}\n{}\n\n{end}{after}", table.trim_end())
}

#[test]
fn the_page_shows_the_outcomes() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../docs/power-loss.md");
    let page = std::fs::read_to_string(path).unwrap();
    let right = with_outcomes(&page, &draught_tests::power::outcomes::table());
    if std::env::var("DRAUGHT_SNAPSHOTS").as_deref() == Ok("overwrite") {
        std::fs::write(path, &right).unwrap();
    } else {
        assert!(
            page == right,
            "docs/power-loss.md is not what happens; look at what \
             DRAUGHT_SNAPSHOTS=overwrite cargo test -p draught-tests --test power_loss outcomes \
             makes of it"
        );
    }
}
