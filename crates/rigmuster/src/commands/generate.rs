//! Completion scripts and the manual page, made from the command line's own description.

use clap::CommandFactory;
use clap_complete::Shell;

use crate::{Cli, Exit, Failure};

/// Prints a completion script.
pub(super) fn completions(shell: Shell) -> Result<Exit, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut Cli::command(), "rigmuster", &mut script);
    super::print(&String::from_utf8_lossy(&script))?;
    Ok(Exit::Done)
}

/// Prints the manual page: the program's own section, then one for each command.
pub(super) fn manual() -> Result<Exit, Failure> {
    let mut page = Vec::new();
    render(&mut page).map_err(|e| Failure::fault(format_args!("the manual could not be made: {e}")))?;
    super::print(&String::from_utf8_lossy(&page))?;
    Ok(Exit::Done)
}

fn render(page: &mut Vec<u8>) -> std::io::Result<()> {
    let command = Cli::command();
    let man = clap_mangen::Man::new(command.clone());
    man.render_title(page)?;
    man.render_name_section(page)?;
    man.render_synopsis_section(page)?;
    man.render_description_section(page)?;
    for sub in command.get_subcommands().filter(|s| !s.is_hide_set()) {
        let title = format!("rigmuster {}", sub.get_name());
        let man = clap_mangen::Man::new(sub.clone().display_name(title.clone()).bin_name(title.clone()));
        page.extend_from_slice(format!(".SH \"{}\"\n", title.to_uppercase()).as_bytes());
        let mut part = Vec::new();
        man.render_synopsis_section(&mut part)?;
        man.render_description_section(&mut part)?;
        man.render_options_section(&mut part)?;
        // Inside a command's section these are sub-sections.
        page.extend_from_slice(
            String::from_utf8_lossy(&part)
                .replace("\n.SH ", "\n.SS ")
                .as_bytes(),
        );
    }
    man.render_extra_section(page)
}
