//! `subwell page`: the planner in the browser, on this machine's loopback address only.

use std::io::Write;
use std::net::{Ipv4Addr, TcpListener};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;

use clap::Args;
use rand::random;
use serde_json::json;
use subwell::files::{FileError, read_text, write_whole};
use subwell::page::{Api, Folder, Guard, Limits, Measure, measure_folders, offline_module, planner_file, serve};
use subwell::planner::Refusal;
use subwell::report::json_text;

use super::output::{Answer, Failure};
use super::signs;

#[derive(Args, Default)]
pub(super) struct PageArgs {
    /// The night to open, in this folder or below it
    night: Option<PathBuf>,
    /// The port to listen on; 0 takes a free one. Left out, a folder has its own, so that the browser finds its drafts again
    #[arg(long, value_name = "N")]
    port: Option<u16>,
    /// Print the address and open no browser
    #[arg(long)]
    no_open: bool,
    /// Write the planner of this night as one page that needs neither program nor network, and serve nothing
    #[arg(long, value_name = "PLANNER.html", requires = "night", conflicts_with_all = ["port", "no_open"])]
    file: Option<PathBuf>,
    /// Replace the file that is there
    #[arg(long, requires = "file")]
    force: bool,
}

/// Serves the page of the folder it is started in; ends with the process.
pub(super) fn page(args: &PageArgs, json: bool, quiet: bool) -> Result<Answer, Failure> {
    if let (Some(night), Some(file)) = (&args.night, &args.file) {
        return to_take_along(night, file, args.force);
    }
    let here = Path::new(".");
    let folder = Folder::new(here)?;
    let first = args.night.as_deref().map(|night| below(here, night, &folder)).transpose()?;
    let asked = args.port.unwrap_or(0);
    let bound = |port| TcpListener::bind((Ipv4Addr::LOCALHOST, port));
    let own = args.port.is_none().then(|| own_port(here)).flatten();
    let listener = own.and_then(|port| bound(port).ok()).map_or_else(|| bound(asked), Ok);
    let listener = listener.map_err(|error| no_port(asked, &error))?;
    let port = listener.local_addr().map_err(|error| no_port(asked, &error))?.port();
    let token: String = random::<[u8; 24]>().iter().map(|byte| format!("{byte:02x}")).collect();
    let address = format!("http://127.0.0.1:{port}/#{token}");
    let said = if json {
        signs::fit_json(&json_text(
            &json!({ "format": "subwell.page", "version": 1, "address": address, "folder": folder.name() }),
        ))
        .into_owned()
    } else {
        format!("the planner of this folder: {address}\nonly this machine can open it; Ctrl-C ends it\n")
    };
    let mut stdout = anstream::stdout().lock();
    // Nobody listens: then nobody needs the page.
    stdout.write_all(said.as_bytes()).and_then(|()| stdout.flush()).map_err(|error| not_said(&error))?;
    drop(stdout);
    if !args.no_open && !json {
        open_in_browser(&address, quiet);
    }
    let measure: Arc<Measure> = Arc::new(measure_folders);
    let api = Api::new(folder, Guard::new(port, token), first, measure);
    match serve(listener, Arc::new(api), Limits::default()) {
        Ok(never) => match never {},
        Err(error) => Err(no_port(port, &error)),
    }
}

/// The planner of a night as one file.
fn to_take_along(night: &Path, file: &Path, force: bool) -> Result<Answer, Failure> {
    let is_page = file.extension().is_some_and(|end| ["html", "htm"].iter().any(|own| end.eq_ignore_ascii_case(own)));
    if !is_page {
        let message = format!("{}: a page goes by a name that ends in .html", file.display());
        return Err(Failure::words(&message, "give a name such as planner.html"));
    }
    let module = offline_module().ok_or_else(Failure::no_module)?;
    // Names in it are those beside the night: where its folder lies is nobody's business.
    let beside = night.parent().unwrap_or(Path::new(""));
    let read = |name: &Path| read_text(&beside.join(name)).map_err(Refusal::from);
    let name = night.file_name().map_or_else(|| night.to_string_lossy(), |name| name.to_string_lossy());
    let page = planner_file(module, &name, &read).map_err(Failure::refused)?;
    write_whole(file, page.as_bytes(), force)?;
    let kilobytes = page.len().div_ceil(1000);
    let text = format!(
        "{}: the planner of {name} with its camera, {kilobytes} kB; it opens on a phone and needs no network\n\
         it holds what the night says, the place too: give it to nobody who need not know\n",
        file.display()
    );
    let document = json!({ "file": file.display().to_string(), "bytes": page.len() });
    Ok(Answer::new(text, "subwell.planner-file", &document, 0))
}

/// The port of a folder: the same one each time, for a browser keeps drafts by address. One of the 16,384 that nobody owns.
fn own_port(here: &Path) -> Option<u16> {
    let path = std::fs::canonicalize(here).ok()?;
    // FNV-1a: spread evenly, and the same for all time.
    let hash = path
        .as_os_str()
        .as_encoded_bytes()
        .iter()
        .fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3));
    Some(49_152 + ((hash >> 32) % 16_384) as u16)
}

/// The path of a night from the folder down.
fn below(here: &Path, night: &Path, folder: &Folder) -> Result<String, Failure> {
    let disk = |path: &Path| {
        let path = path.to_owned();
        move |source| Failure::from(FileError::Disk { path, source })
    };
    let root = std::fs::canonicalize(here).map_err(disk(here))?;
    let found = std::fs::canonicalize(night).map_err(disk(night))?;
    let relative = found.strip_prefix(&root).ok().filter(|path| folder.existing(path).is_ok());
    let parts = relative.map(|path| path.iter().map(|part| part.to_string_lossy()).collect::<Vec<_>>().join("/"));
    parts.ok_or_else(|| {
        Failure::words(
            &format!("{} lies outside this folder, where the page may not read", night.display()),
            "change to the folder that holds night, profile and frames, then start the page there",
        )
    })
}

fn no_port(port: u16, error: &std::io::Error) -> Failure {
    Failure::words(
        &format!("port {port} of 127.0.0.1 cannot be used: {error}"),
        "leave --port out: a free one is taken",
    )
}

fn not_said(error: &std::io::Error) -> Failure {
    Failure::words(&format!("the address could not be printed: {error}"), "start it where its output is read")
}

/// Opens the address in the usual browser. Where there is none the printed address is enough.
fn open_in_browser(address: &str, quiet: bool) {
    let (program, first) = if cfg!(target_os = "macos") {
        ("open", None)
    } else if cfg!(windows) {
        // The system's own way to open an address: no shell reads its signs.
        ("rundll32", Some("url.dll,FileProtocolHandler"))
    } else if ["DISPLAY", "WAYLAND_DISPLAY"].iter().any(|name| std::env::var_os(name).is_some()) {
        ("xdg-open", None)
    } else {
        return;
    };
    let mut browser = Command::new(program);
    browser.args(first).arg(address).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    if browser.spawn().is_err() && !quiet {
        let _ = writeln!(anstream::stderr().lock(), "no browser could be started: open the address yourself");
    }
}
