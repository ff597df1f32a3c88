//! One day in so many.

use draught_sim::hygiene::calendar::Cycle;
use draught_sim::hygiene::completeness::quarters;
use jiff::civil::{Date, date};

#[test]
fn a_cycle_is_kept_over_a_leap_year_and_backwards_from_its_anchor() {
    let cycle = Cycle::new(date(2028, 3, 3), 6).expect("a cycle");
    let days = cycle.days(date(2026, 1, 1), date(2030, 12, 31)).expect("days");
    assert!(days.contains(&date(2028, 2, 26)) && days.contains(&date(2028, 3, 3)));
    for pair in days.windows(2) {
        assert_eq!(pair[0].duration_until(pair[1]).as_hours(), 6 * 24);
    }
    let counted: Vec<Date> = date(2026, 1, 1)
        .series(jiff::Span::new().days(1))
        .take(1826)
        .filter(|d| cycle.has(*d))
        .collect();
    assert_eq!(counted, days);
}

#[test]
fn cycles_at_their_ends() {
    for every in [0, -1, 367] {
        assert_eq!(Cycle::new(date(2027, 1, 1), every).unwrap_err().code(), "out-of-range");
    }
    let daily = Cycle::new(date(2027, 1, 1), 1).expect("a cycle");
    let make_up = daily.make_up(date(2027, 1, 5)).expect("a make-up");
    assert_eq!((make_up.before_next, make_up.week_later_is_taken), (None, true));
    assert!(!make_up.takes(date(2027, 1, 12)), "it is needed for itself");
    let six = Cycle::new(date(2027, 1, 1), 6).expect("a cycle");
    assert_eq!(six.make_up(date(2027, 1, 2)).unwrap_err().code(), "contradiction");
    assert_eq!(six.days(date(2027, 1, 2), date(2027, 1, 1)).unwrap_err().code(), "contradiction");
    assert_eq!(daily.days(Date::MIN, Date::MAX).unwrap_err().code(), "too-many");
    let last = Cycle::new(Date::MAX, 6).expect("a cycle");
    assert_eq!(last.make_up(Date::MAX).unwrap_err().code(), "too-large");
    assert_eq!(last.days(Date::MAX, Date::MAX).expect("days"), [Date::MAX]);
    assert!(Cycle::new(Date::MIN, 6).expect("a cycle").days(Date::MAX, Date::MAX).is_ok());
}

#[test]
fn quarters_are_counted_each_by_itself() {
    let cycle = Cycle::new(date(2027, 1, 1), 6).expect("a cycle");
    let days = cycle.days(date(2027, 1, 1), date(2027, 12, 31)).expect("days");
    let marked: Vec<(Date, bool)> = days.iter().map(|d| (*d, d.month() != 5)).collect();
    let found = quarters(&marked, &cycle, 75.0).expect("quarters");
    assert_eq!(found.iter().map(|q| q.quarter).collect::<Vec<_>>(), [1, 2, 3, 4]);
    assert_eq!(found.iter().map(|q| q.scheduled).sum::<usize>(), days.len());
    assert_eq!(
        found.iter().map(|q| q.complete).collect::<Vec<_>>(),
        [Some(true), Some(false), Some(true), Some(true)]
    );
    let twice = [(date(2027, 1, 1), true); 2];
    assert_eq!(quarters(&twice, &cycle, 75.0).unwrap_err().code(), "contradiction");
}

/// Q1 of 2027 has 15 days of this cycle. Of 7 February to 10 March there are 6: with one missed, 5 of 6 are 83.3 %, but what came of the other
/// nine decides: 5 of 15 are 33.3 %, 14 of 15 are 93.3 %.
#[test]
fn of_a_part_of_a_quarter_only_what_holds_in_any_case_is_told() {
    let cycle = Cycle::new(date(2027, 1, 1), 6).expect("a cycle");
    let days = |from, to| cycle.days(from, to).expect("days");
    assert_eq!(days(date(2027, 1, 1), date(2027, 3, 31)).len(), 15);
    let part = days(date(2027, 2, 1), date(2027, 3, 10));
    assert_eq!(part.len(), 6);
    let with = |days: &[Date], missed: usize| {
        let marked: Vec<_> = days.iter().enumerate().map(|(i, d)| (*d, i >= missed)).collect();
        quarters(&marked, &cycle, 75.0).expect("quarters")[0]
    };
    let found = with(&part, 1);
    assert_eq!((found.scheduled, found.in_all, found.complete), (6, 15, None));
    // 4 lost of 15 are at most 73.3 %, whatever came of the others.
    assert_eq!(with(&part, 4).complete, Some(false));
    // 12 valid of 15 are 80 %, whatever came of the other three.
    let most = days(date(2027, 1, 1), date(2027, 3, 10));
    assert_eq!((most.len(), with(&most, 0).complete), (12, Some(true)));
}
