//! The methods that there are: those that come with the program, and those of the user's folders.

use std::path::Path;

use super::{Entry, Method, read};
use crate::plan::finding::Findings;
use crate::plan::source::Source;
use crate::plan::words;

macro_rules! entries {
    ($($name:literal),* $(,)?) => {
        /// The files that come with the program: name and text.
        pub const BUILT_IN: &[(&str, &str)] =
            &[$((concat!($name, ".toml"), include_str!(concat!("../../methods/", $name, ".toml")))),*];
    };
}

entries![
    "epa-app-b",
    "epa-app-j",
    "epa-app-l",
    "nmam-0500",
    "nmam-0501",
    "nmam-0600",
    "nmam-1300",
    "nmam-1301",
    "nmam-1405",
    "nmam-2549",
    "nmam-5700",
    "nmam-6009",
    "nmam-7300",
    "nmam-7303",
    "nmam-7400",
    "nmam-7501",
    "nmam-7601",
    "osha-1008",
    "osha-109",
    "osha-1910-1043",
    "osha-69",
    "osha-id-145",
    "osha-id-160",
];

/// The methods that there are, in order of their names.
#[derive(Clone, Debug, PartialEq)]
pub struct Library(Vec<Method>);

/// Why a folder gives no methods.
#[derive(Debug)]
pub enum Unusable {
    /// It, or a file in it, cannot be read: which, and why.
    Unreadable(String, std::io::Error),
    /// A file in it is at fault.
    AtFault(Source, Findings),
    /// Two of its files have the same method: its name, and both files.
    Twice(String, String, String),
}

/// What a name stands for.
#[derive(Clone, Debug, PartialEq)]
pub enum Named<'l> {
    /// A method, and what it can be used as: one entry, or each variant where none is named.
    Found(&'l Method, Vec<Entry>),
    /// No such method; those with names near it.
    NoMethod(Option<&'l str>),
    /// A method without that variant.
    NoVariant(&'l Method),
}

impl Default for Library {
    /// What comes with the program.
    fn default() -> Self {
        // The files come with the program, and a test says that nothing in them is at fault.
        let read = |(name, text): &(&str, &str)| read(&Source::new(*name, *text)).ok();
        Self(BUILT_IN.iter().filter_map(read).collect())
    }
}

impl Library {
    /// Every method.
    #[must_use]
    pub fn methods(&self) -> &[Method] {
        &self.0
    }

    /// Adds the methods of a folder's `.toml` files; one that is there already is replaced, and says so.
    ///
    /// # Errors
    /// [`Unusable`], at the first file at fault.
    pub fn add_folder(&mut self, folder: &Path) -> Result<(), Unusable> {
        let shown = folder.display().to_string();
        let unreadable = |e| Unusable::Unreadable(shown.clone(), e);
        let mut files = Vec::new();
        for entry in std::fs::read_dir(folder).map_err(unreadable)? {
            let path = entry.map_err(unreadable)?.path();
            if path.extension().is_some_and(|e| e == "toml") {
                files.push(path.display().to_string());
            }
        }
        files.sort();
        let mut mine: Vec<Method> = Vec::new();
        for file in files {
            let source = Source::read(&file, &mut std::io::empty())
                .map_err(|e| Unusable::Unreadable(file.clone(), e))?;
            let method = read(&source).map_err(|findings| Unusable::AtFault(source, findings))?;
            if let Some(other) = mine.iter().find(|m| m.id == method.id) {
                let other = other.file.clone().unwrap_or_default();
                return Err(Unusable::Twice(method.id, other, file));
            }
            mine.push(Method { file: Some(file), ..method });
        }
        for method in mine {
            self.add(method);
        }
        Ok(())
    }

    /// Adds one, or puts it in the place of the one of its name.
    pub fn add(&mut self, method: Method) {
        let known = self.0.iter().position(|m| m.id == method.id);
        match known.and_then(|at| self.0.get_mut(at)) {
            Some(place) => *place = Method { replaces: true, ..method },
            None => {
                self.0.push(method);
                self.0.sort_by(|a, b| a.id.cmp(&b.id));
            }
        }
    }

    /// What "nmam-0600" or "nmam-0600/nylon" stands for.
    #[must_use]
    pub fn named(&self, name: &str) -> Named<'_> {
        let (id, variant) = match name.split_once('/') {
            Some((id, variant)) => (id, Some(variant)),
            None => (name, None),
        };
        let Some(method) = self.0.iter().find(|m| m.id == id) else {
            return Named::NoMethod(self.near(id));
        };
        let mut entries = method.entries();
        if let Some(variant) = variant {
            entries.retain(|e| e.id.split_once('/').is_some_and(|(_, v)| v == variant));
            if entries.is_empty() {
                return Named::NoVariant(method);
            }
        }
        Named::Found(method, entries)
    }

    /// The name most like one that is not there: by its letters, or by its number.
    fn near(&self, id: &str) -> Option<&str> {
        let names = || self.0.iter().map(|m| m.id.as_str());
        let lower = id.to_lowercase();
        let number = lower.rsplit([' ', '-', '/']).next().filter(|n| n.len() >= 2);
        let by_number = number.and_then(|n| names().find(|name| name.ends_with(n)));
        // Four digits that are all others are another method, not a slip.
        let slip = |near: &&str| strsim::damerau_levenshtein(&lower, near) <= 2;
        by_number.or_else(|| words::closest(id, names()).filter(slip))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn codes(text: &str) -> Vec<&'static str> {
        match read(&Source::new("mine.toml", text)) {
            Ok(_) => Vec::new(),
            Err(findings) => findings.sorted().iter().map(|f| f.code).collect(),
        }
    }

    const HEAD: &str =
        "id = \"mine\"\ntitle = \"Ours\"\nissuer = \"our laboratory\"\nmeasures = \"dust\"\n";

    #[test]
    fn every_file_that_comes_along_is_read() {
        for (name, text) in BUILT_IN {
            let source = Source::new(*name, *text);
            let method = read(&source).unwrap_or_else(|f| panic!("{name}: {:?}", f.sorted()));
            assert_eq!(format!("{}.toml", method.id), *name);
        }
        assert_eq!(Library::default().methods().len(), BUILT_IN.len());
    }

    #[test]
    fn what_is_wrong_with_a_file_is_said() {
        let body = |body: &str| codes(&format!("{HEAD}{body}"));
        assert!(body("").is_empty());
        assert_eq!(codes("id = \"x\"\ntitle = \"x\"\nissuer = \"x\""), ["missing-key"]);
        assert_eq!(codes("id = "), ["toml"]);
        assert_eq!(codes(&HEAD.replace("\"mine\"", "\"Mine!\"")), ["not-a-name"]);
        assert_eq!(codes(&HEAD.replace("\"Ours\"", "\" \"")), ["out-of-range"]);
        assert_eq!(body("flwo = 1"), ["unknown-key"]);
        assert_eq!(body("flow = \"2 L/min\""), ["no-source"]);
        assert_eq!(body("flow = { is = \"2 L/min\" }"), ["no-source", "no-source"]);
        assert_eq!(body("flow = { is = \"2 L/min\", from = \"\", tag = \"seen\" }"), ["no-source"]);
        assert_eq!(
            body("flow = { is = \"2 L/min\", from = \"x\", tag = \"sean\" }"),
            ["not-a-choice"]
        );
        assert_eq!(body("flow = { is = \"2 L\", from = \"x\", tag = \"seen\" }"), ["unknown-unit"]);
        assert_eq!(body("flow = { from = \"x\", tag = \"seen\" }"), ["missing-key"]);
        assert_eq!(
            body("flow = { is = \"1 L/min\", at = \"1 mg/m3\", from = \"x\", tag = \"seen\" }"),
            ["unknown-key"]
        );
        assert_eq!(body("lod = { is = \"2 L\", from = \"x\", tag = \"seen\" }"), ["unknown-unit"]);
        assert_eq!(body("lod = { is = 2, from = \"x\", tag = \"seen\" }"), ["wrong-type"]);
        assert_eq!(
            body("mass = { is = [\"2 mg\", \"1 mg\"], from = \"x\", tag = \"seen\" }"),
            ["empty-range"]
        );
        assert_eq!(
            body("mass = { is = [\"2 mg\"], from = \"x\", tag = \"seen\" }"),
            ["wrong-type"]
        );
        assert_eq!(body("note = 3"), ["wrong-type"]);
        assert_eq!(body("[[note]]\nfrom = \"x\"\ntag = \"seen\""), ["missing-key"]);
        let twice = "[[variant]]\nid = \"a\"\nwhat = \"a\"\n".repeat(2);
        assert_eq!(body(&twice), ["same-name"]);
    }

    #[test]
    fn names_are_found_with_their_variants() {
        let library = Library::default();
        let entries = |name: &str| match library.named(name) {
            Named::Found(_, entries) => entries.iter().map(|e| e.id.clone()).collect(),
            other => panic!("{name}: {other:?}"),
        };
        assert_eq!(entries("nmam-0500"), ["nmam-0500"]);
        assert_eq!(entries("nmam-0600/hd"), ["nmam-0600/hd"]);
        let all: Vec<String> = entries("nmam-0600");
        assert_eq!(all, ["nmam-0600/nylon", "nmam-0600/hd", "nmam-0600/aluminium"]);
        assert!(matches!(library.named("nmam-0600/steel"), Named::NoVariant(_)));
        assert_eq!(library.named("nmam-600"), Named::NoMethod(Some("nmam-0600")));
        assert_eq!(library.named("NMAM 0600"), Named::NoMethod(Some("nmam-0600")));
        assert_eq!(library.named("nmam-9999"), Named::NoMethod(None));
        assert_eq!(library.named("something"), Named::NoMethod(None));
    }

    #[test]
    fn what_is_remembered_decides_nothing() {
        let library = Library::default();
        let Named::Found(_, entries) = library.named("nmam-0500") else { panic!("it is there") };
        let values = &entries[0].values;
        assert_eq!(values.any("lod").map(|v| v.shown.as_str()), Some("0.03 mg"));
        assert_eq!(values.one("lod"), None);
        assert_eq!(
            values.limits(crate::methods::Air::default()).least_mass.map(|m| m.0),
            Some(0.105)
        );
    }

    #[test]
    fn a_users_method_takes_the_place_of_another() {
        let mut library = Library::default();
        let count = library.methods().len();
        let text = HEAD.replace("\"mine\"", "\"nmam-0500\"");
        library.add(read(&Source::new("mine.toml", text)).unwrap());
        assert_eq!(library.methods().len(), count);
        assert!(matches!(library.named("nmam-0500"), Named::Found(m, _) if m.replaces));
        library.add(read(&Source::new("mine.toml", HEAD)).unwrap());
        assert!(matches!(library.named("mine"), Named::Found(m, _) if !m.replaces));
    }
}
