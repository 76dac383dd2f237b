//! `obvert manual`: the manual pages, made from the same definitions as the help.

use clap::CommandFactory;

use super::print;
use crate::args::Arguments;
use crate::{Failure, Status};

/// Prints the page of a command, or of obvert itself if `names` is empty.
pub(crate) fn run(names: &[String]) -> Result<Status, Failure> {
    let mut obvert = Arguments::command();
    // Gives each command its full name, such as obvert-archive-pack.
    obvert.build();
    let mut command = &obvert;
    for name in names {
        command = command.find_subcommand(name).ok_or_else(|| {
            let known: Vec<&str> =
                command.get_subcommands().map(|known| known.get_name()).collect();
            let command = command.get_bin_name().unwrap_or_default();
            match known.is_empty() {
                true => format!("{command} has no command {name:?}; omit it"),
                false => {
                    format!("{command} has no command {name:?}; name one of {}", known.join(", "))
                }
            }
        })?;
    }
    let title = command.get_bin_name().unwrap_or("obvert").replace(' ', "-");
    let source = concat!("obvert ", env!("CARGO_PKG_VERSION"));
    let mut page = Vec::new();
    clap_mangen::Man::new(command.clone()).title(title).source(source).render(&mut page)?;
    print(&page)
}
