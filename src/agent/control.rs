//! The agent's own door: a Unix socket in the store's folder, for its owner only. One word in, one JSON document out.
//!
//! A line carries one request at a time and a gateway may allow one connection, so whoever wants a meter read while
//! the agent runs has to ask the agent.

use crate::acquire::modbus::{Ask, Told, tell};
use crate::plant::Plant;
use crate::sources::Line;
use std::fs::{self, Permissions};
use std::io::{self, ErrorKind, Write};
use std::net::Shutdown;
use std::os::unix::fs::PermissionsExt;
use std::os::unix::net::UnixStream as Caller;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{UnixListener, UnixStream};
use tokio::sync::{mpsc, oneshot, watch};
use tokio::time::{sleep, timeout};
use tracing::warn;

/// The word that asks for every meter to be read once.
const POLL: &str = "poll";

/// The longest request that is listened to.
const LONGEST: u64 = 64;
/// How long a caller may take to say its word and to take the answer: others wait for the door.
const PROMPT: Duration = Duration::from_secs(2);
/// How long a caller waits: a line with many dead meters needs their time-outs one after the other.
const PATIENCE: Duration = Duration::from_secs(120);

/// Where the socket of a plant folder is.
fn path(folder: &Path) -> PathBuf {
    folder.join("store").join("agent.sock")
}

/// Opens the door. A socket that a killed agent left behind is replaced: whoever opens it holds the store's lock.
///
/// # Errors
/// Where the socket cannot be made.
pub(super) fn open(folder: &Path) -> io::Result<UnixListener> {
    let path = path(folder);
    match fs::remove_file(&path) {
        Err(fault) if fault.kind() != ErrorKind::NotFound => return Err(fault),
        _ => {}
    }
    let listener = UnixListener::bind(&path)?;
    fs::set_permissions(&path, Permissions::from_mode(0o600))?;
    Ok(listener)
}

/// Answers one caller after the other until told to stop.
pub(super) async fn serve(listener: UnixListener, lines: Asked, mut stop: watch::Receiver<bool>) {
    loop {
        let caller = tokio::select! {
            _ = stop.wait_for(|stop| *stop) => return,
            caller = listener.accept() => caller,
        };
        let served = async {
            match caller {
                Ok((caller, _)) => serve_one(caller, &lines).await,
                Err(fault) => {
                    // Such as no more open files: asking again at once would only fail again.
                    sleep(PROMPT).await;
                    Err(fault)
                }
            }
        };
        let served = tokio::select! {
            _ = stop.wait_for(|stop| *stop) => return,
            served = served => served,
        };
        if let Err(fault) = served {
            warn!("a request on the agent's socket was not answered: {fault}");
        }
    }
}

async fn serve_one(mut caller: UnixStream, lines: &Asked) -> io::Result<()> {
    let mut word = String::new();
    timeout(PROMPT, (&mut caller).take(LONGEST).read_to_string(&mut word)).await??;
    match word.trim() {
        POLL => {
            let told = serde_json::to_vec(&lines.poll().await)?;
            timeout(PROMPT, caller.write_all(&told)).await?
        }
        // A newer command may know words that this agent does not: no answer is the answer.
        _ => Ok(()),
    }
}

/// The lines of a running agent, and what it takes to put their answers into words.
pub(super) struct Asked {
    pub(super) plant: Plant,
    pub(super) lines: Vec<Line>,
    pub(super) asks: Vec<mpsc::Sender<Ask>>,
}

impl Asked {
    /// Every meter once. Lines are asked at the same time; one that has ended gives nothing.
    async fn poll(&self) -> Vec<Told> {
        let mut replies = Vec::new();
        for line in &self.asks {
            let (reply, answers) = oneshot::channel();
            if line.send(Ask { reply }).await.is_ok() {
                replies.push(answers);
            }
        }
        let mut answers = Vec::new();
        for reply in replies {
            answers.extend(reply.await.unwrap_or_default());
        }
        tell(&self.plant, &self.lines, &answers)
    }
}

/// Whether an agent runs on a plant folder.
pub fn is_running(folder: &Path) -> bool {
    Caller::connect(path(folder)).is_ok()
}

/// Asks the agent of a plant folder to read every meter once; `None` where no agent runs.
///
/// # Errors
/// Where the agent is there but does not answer, or is of another version.
pub fn ask_to_poll(folder: &Path) -> io::Result<Option<Vec<Told>>> {
    let mut caller = match Caller::connect(path(folder)) {
        Ok(caller) => caller,
        Err(fault) if matches!(fault.kind(), ErrorKind::NotFound | ErrorKind::ConnectionRefused) => return Ok(None),
        Err(fault) => return Err(fault),
    };
    caller.set_read_timeout(Some(PATIENCE))?;
    caller.write_all(POLL.as_bytes())?;
    caller.shutdown(Shutdown::Write)?;
    Ok(Some(serde_json::from_reader(caller)?))
}
