//! A field sheet as lines: filled in as a person does it with an editor, and read without the library's own reader.

/// A table of the sheet, by its name and by whose it is: that of S-101 is `("sampler.before", "S-101")`.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Table {
    name: String,
    of: String,
    /// The line of its head, and the one after its last.
    head: usize,
    end: usize,
}

fn name(line: &str) -> Option<&str> {
    let line = line.trim();
    line.strip_prefix('[')?.split(']').next().map(|name| name.trim_start_matches('['))
}

/// A key and its value, without the comment after it; `None` of another line.
fn key(line: &str) -> Option<(&str, &str)> {
    let (key, value) = line.trim().split_once('=')?;
    let key = key.trim();
    let plain = key.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-');
    let mut quoted = false;
    let comment = value.char_indices().find(|(_, c)| {
        quoted ^= *c == '"';
        *c == '#' && !quoted
    });
    let value = comment.map_or(value, |(at, _)| &value[..at]);
    (plain && !key.is_empty()).then_some((key, value.trim()))
}

fn tables(lines: &[String]) -> Vec<Table> {
    let mut all: Vec<Table> = Vec::new();
    for (n, line) in lines.iter().enumerate() {
        if let Some(name) = name(line) {
            if let Some(before) = all.last_mut() {
                before.end = n;
            }
            let of = all.last().map_or(String::new(), |t| t.of.clone());
            let of = if name.contains('.') { of } else { String::new() };
            all.push(Table { name: name.to_owned(), of, head: n, end: lines.len() });
        } else if let (Some(("id", id)), Some(table)) = (key(line), all.last_mut()) {
            table.of = id.trim_matches('"').to_owned();
        }
    }
    all
}

fn lines(text: &str) -> Vec<String> {
    text.lines().map(str::to_owned).collect()
}

/// The value of a key, as it stands there.
pub fn value(sheet: &str, table: &str, of: &str, wanted: &str) -> Option<String> {
    let lines = lines(sheet);
    let found = tables(&lines).into_iter().find(|t| t.name == table && t.of == of)?;
    let mut keys = lines[found.head + 1..found.end].iter().filter_map(|l| key(l));
    keys.find(|(key, _)| *key == wanted).map(|(_, value)| value.to_owned())
}

/// A sheet with a part of it filled in: each line of the part takes the place of the one with its key, or goes below the last of its
/// table; a table that is not there takes the place of its outline in comments, or goes below its sampler, or below everything.
pub fn filled_in(sheet: &str, part: &str) -> String {
    let (mut sheet, part) = (lines(sheet), lines(part));
    let parts = tables(&part);
    for (n, table) in parts.iter().enumerate() {
        let twice = parts[..n].iter().any(|t| t.name == table.name && t.of == table.of);
        assert!(!twice, "two of {} {} in one part", table.name, table.of);
        let body = &part[table.head + 1..table.end];
        match tables(&sheet).into_iter().find(|t| t.name == table.name && t.of == table.of) {
            Some(there) => fill(&mut sheet, &there, body),
            None => insert(&mut sheet, table, &part[table.head..table.end]),
        }
    }
    sheet.join("\n") + "\n"
}

fn fill(sheet: &mut Vec<String>, table: &Table, body: &[String]) {
    let mut end = table.end;
    for line in body {
        let Some((wanted, _)) = key(line) else {
            assert!(line.trim().is_empty(), "only keys are filled in: {line}");
            continue;
        };
        // It is what the table was found by.
        if wanted == "id" {
            continue;
        }
        let is = |text: &str| key(text).is_some_and(|(key, _)| key == wanted);
        let mut own = table.head + 1..end;
        let outlined = |l: &str| is(l.trim_start().trim_start_matches('#'));
        let at =
            own.clone().find(|&n| is(&sheet[n])).or_else(|| own.find(|&n| outlined(&sheet[n])));
        let indent = if table.name.contains('.') { "  " } else { "" };
        let line = format!("{indent}{}", line.trim());
        match at {
            Some(at) => sheet[at] = line,
            None => {
                let last = (table.head..end).rev().find(|&n| key(&sheet[n]).is_some());
                sheet.insert(last.unwrap_or(table.head) + 1, line);
                end += 1;
            }
        }
    }
}

fn insert(sheet: &mut Vec<String>, table: &Table, text: &[String]) {
    let mut text: Vec<String> = text.to_vec();
    while text.last().is_some_and(|l| l.trim().is_empty()) {
        text.pop();
    }
    let owner: Vec<Table> = tables(sheet).into_iter().filter(|t| t.of == table.of).collect();
    let (Some(first), Some(last), true) = (owner.first(), owner.last(), table.name.contains('.'))
    else {
        sheet.push(String::new());
        sheet.extend(text);
        return;
    };
    let outline = format!("# [[{}]]", table.name);
    let own = first.head..last.end;
    if let Some(at) = own.clone().find(|&n| sheet[n].trim_start().starts_with(&outline)) {
        let comments = sheet[at..own.end].iter().take_while(|l| l.trim_start().starts_with('#'));
        let end = at + comments.count();
        sheet.splice(at..end, text);
        return;
    }
    let filled = own.rev().find(|&n| !sheet[n].trim().is_empty()).map_or(last.end, |n| n + 1);
    text.insert(0, String::new());
    sheet.splice(filled..filled, text);
}

#[test]
fn a_sheet_is_filled_in_where_a_person_would() {
    let sheet = "\
[event]
site = \"\"   # where
# limit = { value = \"5\" }

[[sampler]]
id = \"S-1\"
seal = \"\"

  [[sampler.before]]
  at = \"\"

  # [[sampler.lab]]     # one each
  # mass = \"\"

[[sampler]]
id = \"S-2\"
";
    let part = "\
[event]
site = \"hall #1\"
limit = 3
[[sampler]]
id = \"S-1\"
seal = \"7\"
  [[sampler.lab]]
  mass = \"2 mg\"
[[sampler]]
id = \"S-2\"
  [[sampler.before]]
  at = \"now\"
[[sampler]]
id = \"B-1\"
";
    let found = filled_in(sheet, part);
    assert_eq!(
        found,
        "\
[event]
site = \"hall #1\"
limit = 3

[[sampler]]
id = \"S-1\"
seal = \"7\"

  [[sampler.before]]
  at = \"\"

  [[sampler.lab]]
  mass = \"2 mg\"

[[sampler]]
id = \"S-2\"

  [[sampler.before]]
  at = \"now\"

[[sampler]]
id = \"B-1\"
"
    );
    assert_eq!(value(&found, "event", "", "site").as_deref(), Some("\"hall #1\""));
    assert_eq!(value(&found, "sampler.lab", "S-1", "mass").as_deref(), Some("\"2 mg\""));
    assert_eq!(value(&found, "sampler.lab", "S-2", "mass"), None);
}
