//! `inkwatt token`: makes a token for the board, shows it once, and prints what stands in the configuration for it.

use super::{Ended, Failure, Outcome, say};
use crate::board::random;
use crate::config::Role;
use crate::units::hex;
use anyhow::anyhow;
use sha2::{Digest, Sha256};

/// Arguments of the command.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  inkwatt token \"hall screen\" --role view
  inkwatt token anna --role act
The token is shown once and kept nowhere; its hash goes into config/plant.toml. To take a token back, remove its lines there and
start the agent anew.")]
pub struct Arguments {
    /// Whose it is: a person or a screen.
    name: String,
    /// What it allows: view sees everything, act answers findings as well.
    #[arg(long, value_name = "ROLE", value_parser = role)]
    role: Role,
}

fn role(word: &str) -> Result<Role, String> {
    Role::ALL.into_iter().find(|role| role.word() == word).ok_or_else(|| "the roles are view and act".into())
}

/// Runs the command.
pub fn run(arguments: &Arguments) -> Ended {
    let name = arguments.name.trim();
    if name.is_empty() || name.chars().any(char::is_control) {
        return Err(Failure::unusable(anyhow!("a token needs a name, such as \"hall screen\"")));
    }
    // 256 random bits: nobody finds them from their hash, so that no slow hash is needed.
    let token = hex(&random::<32>().map_err(Failure::unreachable)?);
    let hash = hex(&Sha256::digest(token.as_bytes()));
    let name = name.replace('\\', "\\\\").replace('"', "\\\"");
    say(&format!(
        "{token}\n\nThis is the token; it is not shown again. In config/plant.toml, below [board]:\n\n[[board.token]]\nname = \"{name}\"\nrole = \
         \"{}\"\nsha256 = \"{hash}\"",
        arguments.role.word()
    ));
    Ok(Outcome::Done)
}
