//! Screens of which a page leaves lines out: a line `…` stands for one or more of them.

/// What stands for lines that are left out.
pub const LEFT_OUT: &str = "…";

/// What a page should show of a screen: all of it, or what it shows already, if each stretch between two marks is there as it stands,
/// whole and in order, and the first and last are first and last. Where a line has changed, its stretch is looked up by how it begins.
///
/// # Errors
/// A stretch that is nowhere in what is left of the screen.
pub fn shown(page: &[&str], screen: &str) -> Result<Vec<String>, String> {
    let real: Vec<&str> = screen.trim_end().lines().collect();
    let own = |lines: &[&str]| lines.iter().map(|&l| l.to_owned()).collect::<Vec<_>>();
    if !page.contains(&LEFT_OUT) {
        return Ok(own(&real));
    }
    let mut stretches: Vec<&[&str]> = page.split(|l| *l == LEFT_OUT).collect();
    let last = stretches.pop().unwrap_or_default();
    let mut found = Vec::new();
    let mut at = 0;
    for (n, stretch) in stretches.iter().enumerate() {
        // The first may be empty: then lines are left out at once.
        let from = if n == 0 { Some(0) } else { place(stretch, &real, at) };
        let from = from.ok_or_else(|| nowhere(stretch))?;
        found.extend(own(real.get(from..from + stretch.len()).ok_or_else(|| nowhere(stretch))?));
        found.push(LEFT_OUT.to_owned());
        at = from + stretch.len();
    }
    let tail = real.len().checked_sub(last.len()).filter(|tail| *tail > at);
    found.extend(own(&real[tail.ok_or_else(|| nowhere(last))?..]));
    Ok(found)
}

fn nowhere(stretch: &[&str]) -> String {
    format!("nowhere in what is left of the screen:\n{}", stretch.join("\n"))
}

/// Where a stretch is: with at least one line left out before it.
fn place(stretch: &[&str], real: &[&str], from: usize) -> Option<usize> {
    let first = stretch.first()?;
    let exact = (from + 1..real.len()).find(|&at| real[at..].starts_with(stretch));
    let begins = |line: &str| {
        let end = ["  ", ": "].iter().filter_map(|mark| line.trim_start().find(mark)).min();
        line.trim_start()[..end.unwrap_or(line.trim_start().len())].to_owned()
    };
    exact.or_else(|| (from + 1..real.len()).find(|&at| begins(real[at]) == begins(first)))
}

#[test]
fn what_is_left_out_is_left_out_and_the_rest_is_there() {
    let screen = "a\nb  1\nc\nd\ne\n";
    let all = |page: &[&str]| shown(page, screen).map(|lines| lines.join(" "));
    assert_eq!(all(&["x"]).as_deref(), Ok("a b  1 c d e"), "nothing is left out");
    assert_eq!(all(&["a", "…", "e"]).as_deref(), Ok("a … e"));
    assert_eq!(all(&["…", "c", "d", "…"]).as_deref(), Ok("… c d …"));
    assert_eq!(all(&["a", "…", "c", "…", "e"]).as_deref(), Ok("a … c … e"));
    assert_eq!(all(&["x", "…", "y"]).as_deref(), Ok("a … e"), "first and last are first and last");
    assert_eq!(all(&["…", "b  2", "…"]).as_deref(), Ok("… b  1 …"), "found by how it begins");
    assert!(all(&["…", "d", "…", "c", "…"]).is_err(), "not in order");
    assert!(all(&["…", "x", "…"]).is_err(), "not there");
    assert!(all(&["a", "b", "c", "d", "…", "e"]).is_err(), "nothing is left out here");
}
