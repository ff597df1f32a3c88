//! `draught methods`: what published methods ask of a sample.

use serde::Serialize;

use super::io::{Failure, Io};
use super::library::{MethodsArgs, not_named};
use super::paint::Paint;
use super::table::{Side, Table};
use crate::methods::units::{joined, mass};
use crate::methods::{Entry, How, Is, KEYS, Library, Method, Named, Note, Value, Values};
use crate::propose::mass_mg;

/// List the library of methods, or show one with the source of each value.
///
/// Each value says how it was come by. What is only remembered is shown and decides nothing.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught methods
  draught methods show nmam-0600
  draught methods --methods our-methods

docs/methods.md says how to write one.")]
pub struct Args {
    #[command(subcommand)]
    what: Option<What>,
    #[command(flatten)]
    library: MethodsArgs,
    /// The list as JSON (docs/schema/methods.json).
    #[arg(long)]
    json: bool,
}

#[derive(clap::Subcommand, Debug)]
enum What {
    /// Show a method with the source of each value.
    #[command(after_help = "Example:\n  draught methods show nmam-0600")]
    Show(Show),
}

#[derive(clap::Args, Debug)]
struct Show {
    /// Its name: nmam-0600.
    #[arg(value_name = "ID")]
    id: String,
    #[command(flatten)]
    library: MethodsArgs,
    /// It as JSON (docs/schema/methods.json).
    #[arg(long)]
    json: bool,
}

/// Runs the command.
///
/// # Errors
/// Wrong use: no such method, or a folder that cannot be read; data at fault: a file in it.
pub fn run(args: &Args, io: &mut Io<'_>) -> Result<(), Failure> {
    let Some(What::Show(show)) = &args.what else {
        let library = args.library.library(io)?;
        if args.json {
            return write_json(library.methods(), io);
        }
        write!(io.out, "{}", list(&library, Paint(io.colour_out)))?;
        return Ok(());
    };
    let folders = args.library.methods.iter().chain(&show.library.methods).cloned().collect();
    let library = MethodsArgs { methods: folders }.library(io)?;
    let named = library.named(&show.id);
    let Named::Found(method, entries) = &named else {
        return Err(not_named("", &show.id, &named));
    };
    if show.json || args.json {
        return write_json(std::slice::from_ref(*method), io);
    }
    write!(io.out, "{}", shown(method, entries, Paint(io.colour_out)))?;
    Ok(())
}

fn list(library: &Library, paint: Paint) -> String {
    let mut table = Table::new(&[Side::Left; 6]).gap(2);
    table.row(
        ["id", "for", "flow", "volume of a sample", "range of mass", "values"]
            .map(|h| paint.lead(h)),
    );
    for method in library.methods() {
        for entry in method.entries() {
            let volume = volumes(&entry.values);
            let what = if entry.what.is_empty() {
                method.measures.clone()
            } else {
                format!("{}: {}", method.measures, entry.what)
            };
            let said = |key| entry.values.any(key).map_or(String::new(), said);
            let flow = entry.values.any("nominal-flow").map_or_else(|| said("flow"), self::said);
            table.row([entry.id.clone(), what, flow, volume, said("mass"), tags(&entry.values)]);
        }
    }
    let mut text = table.render();
    let mine: Vec<&Method> = library.methods().iter().filter(|m| m.file.is_some()).collect();
    if !mine.is_empty() {
        text.push('\n');
    }
    for method in mine {
        let file = method.file.as_deref().unwrap_or_default();
        let instead = if method.replaces { ", in place of the one of that name" } else { "" };
        text.push_str(&format!("{} is from {file}{instead}\n", method.id));
    }
    text.push_str(
        "\nThe method itself decides; what is said to be from memory is not checked. draught methods show ID gives the sources.\n",
    );
    text
}

/// A value, with a mark where it is only remembered.
fn said(value: &Value) -> String {
    match value.tag {
        How::Memory => format!("{} (from memory)", value.shown),
        _ => value.shown.clone(),
    }
}

fn volumes(values: &Values) -> String {
    let of = |key| values.any(key).map(said);
    match (of("volume-min"), of("volume-max"), of("volume-recommended")) {
        (Some(least), Some(most), _) => joined(&least, &most),
        (Some(least), None, _) => format!("{least} or more"),
        (None, Some(most), _) => format!("{most} or less"),
        (None, None, Some(one)) => one,
        (None, None, None) => match values.any("duration-recommended").or(values.any("duration")) {
            Some(time) => format!("{} of pumping", time.shown),
            None => String::new(),
        },
    }
}

/// How the values were come by: the weakest first.
fn tags(values: &Values) -> String {
    let order = [How::Memory, How::SeenCopy, How::Seen, How::Computed];
    let there: Vec<&str> = order
        .into_iter()
        .filter(|t| values.0.iter().any(|v| v.tag == *t))
        .map(How::words)
        .collect();
    there.join(", ")
}

fn shown(method: &Method, entries: &[Entry], paint: Paint) -> String {
    let mut text = format!("{}   {}\n", paint.lead(&method.id), method.title);
    text.push_str(&format!("{}; measures {}\n", method.issuer, method.measures));
    if let Some(file) = &method.file {
        let instead = if method.replaces { ", in place of the one of that name" } else { "" };
        text.push_str(&format!("from {file}{instead}\n"));
    }
    for entry in entries {
        let what = if entry.what.is_empty() { "" } else { "   " };
        text.push_str(&format!("\n{}{what}{}\n", paint.lead(&entry.id), entry.what));
        let mut table = Table::new(&[Side::Left; 4]).indent(2).gap(2);
        for key in KEYS {
            if let Some(value) = entry.values.any(key.key) {
                let at = value.at.as_ref().map_or(String::new(), |a| format!(" at {}", a.1));
                let tag = match value.tag {
                    How::Memory => paint.careful(value.tag.words()),
                    tag => tag.words().to_owned(),
                };
                table.row([
                    key.heading.to_owned(),
                    value.shown.clone() + &at,
                    tag,
                    value.from.clone(),
                ]);
            }
        }
        for (heading, mg) in stated_masses(&entry.values) {
            table.row([
                heading.to_owned(),
                mass(mg),
                "computed".to_owned(),
                "volume times concentration".to_owned(),
            ]);
        }
        text.push_str(&table.render());
    }
    if !method.notes.is_empty() {
        text.push_str("\nnotes\n");
        for Note { says, from, tag } in &method.notes {
            text.push_str(&format!("  {says}\n    {}: {from}\n", tag.words()));
        }
    }
    text.push_str("\nThe method itself decides; what is from memory is shown and not checked.\n");
    text
}

/// What the stated volumes collect at the concentrations for which they are stated.
fn stated_masses(values: &Values) -> Vec<(&'static str, f64)> {
    [("volume-min", "mass at least volume"), ("volume-max", "mass at most volume")]
        .into_iter()
        .filter_map(|(key, heading)| {
            let value = values.get(key)?;
            let Is::One(l) = value.is else { return None };
            Some((heading, mass_mg(value.at.as_ref()?.0, l)))
        })
        .collect()
}

#[derive(Serialize)]
struct JsonLibrary<'m> {
    format: u8,
    methods: Vec<JsonMethod<'m>>,
}

#[derive(Serialize)]
struct JsonMethod<'m> {
    id: &'m str,
    title: &'m str,
    issuer: &'m str,
    measures: &'m str,
    file: Option<&'m str>,
    replaces: bool,
    entries: Vec<JsonEntry>,
    notes: Vec<JsonNote<'m>>,
}

#[derive(Serialize)]
struct JsonEntry {
    id: String,
    what: String,
    values: Vec<JsonValue>,
}

#[derive(Serialize)]
struct JsonValue {
    key: &'static str,
    shown: String,
    least: Option<f64>,
    most: Option<f64>,
    unit: Option<&'static str>,
    at: Option<String>,
    from: String,
    tag: &'static str,
    decides: bool,
}

#[derive(Serialize)]
struct JsonNote<'m> {
    says: &'m str,
    from: &'m str,
    tag: &'static str,
}

fn write_json(methods: &[Method], io: &mut Io<'_>) -> Result<(), Failure> {
    let methods = methods.iter().map(json).collect();
    let answer = JsonLibrary { format: 1, methods };
    serde_json::to_writer_pretty(&mut *io.out, &answer).map_err(std::io::Error::from)?;
    writeln!(io.out)?;
    Ok(())
}

fn json(method: &Method) -> JsonMethod<'_> {
    let value = |v: &Value| {
        let (least, most) = match v.is {
            Is::Text(_) => (None, None),
            Is::One(value) => (Some(value), Some(value)),
            Is::Range(least, most) => (Some(least), Some(most)),
        };
        JsonValue {
            key: v.key,
            shown: v.shown.clone(),
            least,
            most,
            unit: least.and_then(|_| KEYS.iter().find(|k| k.key == v.key)).and_then(|k| k.unit()),
            at: v.at.as_ref().map(|a| a.1.clone()),
            from: v.from.clone(),
            tag: v.tag.code(),
            decides: v.tag != How::Memory,
        }
    };
    let entry = |e: Entry| JsonEntry {
        values: e.values.0.iter().map(value).collect(),
        id: e.id,
        what: e.what,
    };
    let note = |n| {
        let Note { says, from, tag }: &Note = n;
        JsonNote { says, from, tag: tag.code() }
    };
    JsonMethod {
        id: &method.id,
        title: &method.title,
        issuer: &method.issuer,
        measures: &method.measures,
        file: method.file.as_deref(),
        replaces: method.replaces,
        entries: method.entries().into_iter().map(entry).collect(),
        notes: method.notes.iter().map(note).collect(),
    }
}
