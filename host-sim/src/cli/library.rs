//! The library of methods as a command line has it: what comes along, and the user's folders.

use std::path::PathBuf;

use super::common::say_findings;
use super::files::cannot_read;
use super::io::{Failure, Io};
use crate::methods::{Library, Named, Unusable};
use crate::plan::finding::Severity;

/// Where methods of the user's own come from.
#[derive(clap::Args, Clone, Debug, Default)]
pub struct MethodsArgs {
    /// A folder of methods of your own; also DRAUGHT_METHODS. One of the same name takes the place of the other.
    #[arg(long, value_name = "DIR", display_order = 800)]
    pub methods: Vec<PathBuf>,
}

impl MethodsArgs {
    /// Every method that there is.
    ///
    /// # Errors
    /// Wrong use: a folder that cannot be read; data at fault: a file in it.
    pub fn library(&self, io: &mut Io<'_>) -> Result<Library, Failure> {
        let mut library = Library::default();
        let from_environment = std::env::var_os("DRAUGHT_METHODS").unwrap_or_default();
        let of_environment =
            std::env::split_paths(&from_environment).filter(|p| !p.as_os_str().is_empty());
        for folder in of_environment.chain(self.methods.iter().cloned()) {
            match library.add_folder(&folder) {
                Ok(()) => {}
                Err(Unusable::Unreadable(path, e)) => {
                    return Err(match cannot_read(&path, &e) {
                        Failure::Usage(what, _) => {
                            Failure::Usage(what, "give a folder of methods in TOML".to_owned())
                        }
                        other => other,
                    });
                }
                Err(Unusable::AtFault(source, findings)) => {
                    let all = findings.sorted();
                    let grave: Vec<_> =
                        all.into_iter().filter(|f| f.severity == Severity::Error).collect();
                    say_findings(&grave, &source, io.colour_err, io.err)?;
                    writeln!(io.err, "{} is no method that can be used.", source.name)?;
                    return Err(Failure::Data);
                }
                Err(Unusable::Twice(id, one, other)) => {
                    writeln!(io.err, "error[same-name]: {id:?} is in {one} and in {other}")?;
                    writeln!(io.err, "  = help: give one of them another id")?;
                    return Err(Failure::Data);
                }
            }
        }
        Ok(library)
    }
}

/// What is said of a name that is not there.
pub(super) fn not_named(option: &str, name: &str, named: &Named<'_>) -> Failure {
    let help = match named {
        Named::NoMethod(Some(near)) => format!("did you mean {near:?}? draught methods lists them"),
        Named::NoVariant(method) => {
            let variants: Vec<String> = method.entries().into_iter().map(|e| e.id).collect();
            format!("write one of {}", variants.join(", "))
        }
        _ => "draught methods lists them; --methods DIR adds your own".to_owned(),
    };
    Failure::Usage(format!("{option}no method is called {name:?}"), help)
}
