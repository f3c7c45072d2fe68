//! Answers that were given with the command, or are asked for at a terminal.

use crate::cli::Failure;
use anyhow::anyhow;
use std::io::{self, BufRead, IsTerminal, Write};

/// Asks where somebody sits.
pub(super) struct Questions {
    somebody: bool,
}

impl Questions {
    /// Somebody sits where both ends are a terminal.
    pub(super) fn at_terminal() -> Self {
        Self { somebody: io::stdin().is_terminal() && io::stderr().is_terminal() }
    }

    /// What was given, else what is answered, else what is usual.
    pub(super) fn answer(
        &self,
        given: Option<&String>,
        flag: &str,
        question: &str,
        usual: Option<&str>,
    ) -> Result<String, Failure> {
        if let Some(given) = given {
            return Ok(given.clone());
        }
        let missing = || Failure::unusable(anyhow!("--{flag} is missing: {question}"));
        if !self.somebody {
            return usual.map(str::to_owned).ok_or_else(missing);
        }
        loop {
            let hint = usual.filter(|usual| !usual.is_empty()).map_or(String::new(), |usual| format!(" [{usual}]"));
            eprint!("{question}{hint}: ");
            io::stderr().flush().map_err(Failure::unusable)?;
            let mut line = String::new();
            // The end of what can be typed is no answer to come.
            if io::stdin().lock().read_line(&mut line).map_err(Failure::unusable)? == 0 {
                return Err(missing());
            }
            match (line.trim(), usual) {
                ("", None) => {}
                ("", Some(usual)) => return Ok(usual.to_owned()),
                (answer, _) => return Ok(answer.to_owned()),
            }
        }
    }
}
