//! `serve`: the bench page, for a browser on this computer.

use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread;
use std::time::Duration;

use clap::Args;
use live::page::{Bench, Page, Stopper};
use score::{LimitSet, limits};

use crate::check::measuring::JudgeArgs;
use crate::check::settings::{self, Chosen};
use crate::config::KeptInputs;
use crate::interrupt;
use crate::output;
use crate::stop::{Exit, Stop, tell};

const VERSION: &str = env!("CARGO_PKG_VERSION");

/// Options of `serve`.
#[derive(Args)]
pub(crate) struct ServeArgs {
    /// Folder that keeps the captured sound and the saved figures
    #[arg(long, value_name = "FOLDER", default_value = ".")]
    keep: PathBuf,

    /// Name of the dial when the page opens
    #[arg(long, value_name = "ID")]
    dial_id: Option<String>,

    /// Port to listen at; 0 takes any that is free
    #[arg(long, value_name = "PORT", default_value_t = 0)]
    port: u16,

    /// Address to listen at. Any but this computer's own opens the page to the network, unencrypted, and browsers give
    /// it no input there
    #[arg(long, value_name = "ADDRESS", default_value_t = IpAddr::V4(Ipv4Addr::LOCALHOST))]
    address: IpAddr,

    #[command(flatten)]
    judging: JudgeArgs,

    /// Say nothing on standard error but errors
    #[arg(short, long)]
    quiet: bool,
}

/// Serves the page until it is interrupted.
pub(crate) fn run(args: &ServeArgs) -> Result<Exit, Stop> {
    let chosen = settings::choose(&args.judging)?;
    let folder = folder(&args.keep)?;
    let address = SocketAddr::new(args.address, args.port);
    let page = Page::bind(address, bench(args, chosen, folder))
        .map_err(|error| Stop::Failed(cannot_listen(address, &error)))?;
    if !args.address.to_canonical().is_loopback() {
        tell(
            "the page can be reached from the network, unencrypted: whoever has the address it is opened by can use it",
        );
    }
    interrupt::ask_first();
    end_with_interrupt(page.stopper());
    if !args.quiet {
        tell("open this address in a browser on this computer; Ctrl-C ends");
    }
    output::print(&format!("{}\n", page.url()))?;
    page.serve();
    Ok(Exit::Good)
}

fn bench(args: &ServeArgs, chosen: Chosen, folder: PathBuf) -> Bench {
    Bench {
        folder,
        channel: args.judging.channel,
        calibrations: Arc::new(KeptInputs),
        clock_is_given: args.judging.clock_ppm.is_some(),
        limit_sets: offered(chosen.settings.limits.as_ref()),
        settings: chosen.settings,
        dial_id: args.dial_id.clone(),
        version: VERSION.to_owned(),
    }
}

/// The published sets, and before them the user's own if one is chosen.
fn offered(chosen: Option<&LimitSet>) -> Vec<LimitSet> {
    let published = limits::all();
    let own = chosen.filter(|set| published.iter().all(|known| known.name != set.name));
    own.into_iter().chain(published).cloned().collect()
}

fn folder(path: &Path) -> Result<PathBuf, Stop> {
    if !path.is_dir() {
        return Err(Stop::Usage(format!(
            "--keep {} is no folder: make it first, or name another",
            path.display()
        )));
    }
    std::path::absolute(path)
        .map_err(|error| Stop::Failed(format!("cannot find {}: {error}", path.display())))
}

fn cannot_listen(address: SocketAddr, error: &std::io::Error) -> String {
    let way_out = match error.kind() {
        std::io::ErrorKind::AddrInUse => {
            "another program listens there; leave --port out to take any that is free".to_owned()
        }
        std::io::ErrorKind::PermissionDenied => {
            "the system does not permit it; take a port from 1024 on".to_owned()
        }
        std::io::ErrorKind::AddrNotAvailable => "this computer has no such address".to_owned(),
        _ => error.to_string(),
    };
    format!("cannot listen at {address}: {way_out}")
}

/// Looks for an interrupt beside the server, which waits for connections.
fn end_with_interrupt(stopper: Stopper) {
    thread::spawn(move || {
        while !interrupt::is_asked_to_end() {
            thread::sleep(Duration::from_millis(50));
        }
        stopper.stop();
    });
}
