//! What does the night look like in the browser? The planner as a page for this machine only.
//!
//! [`Api`] answers one request after the other and knows nothing of sockets; [`serve`] puts it behind the loopback
//! address with limits on size, time and number. Every request passes [`Guard`] first: Host (a name that another site
//! pointed here), Origin (a page of another site), token (another user of the machine). Files are reached through
//! [`Folder`], which ends where the folder ends.
//!
//! # Who might attack it
//! It answers on 127.0.0.1 only, with a key in the address behind `#`. Limits: 128 connections, a body of 256 KiB, 10 s
//! for a head and 10 s for a body, 60 s for a connection, four workers; one folder is watched at a time. Each guard was taken out once, and the test
//! beside it failed.
//!
//! | threat | test in `tests/page/` |
//! |---|---|
//! | a name pointed at this machine (DNS rebinding), two Hosts, an absolute request line | `guards::a_name_that_was_pointed_here_gets_nothing` |
//! | a page of another site, forms | `guards::a_page_of_another_site_gets_nothing` |
//! | another user of the machine; a change by a link | `guards::without_the_key_nothing_of_the_folder_is_read_or_written` |
//! | `..`, absolute paths, links, a profile outside the folder | `guards::no_path_leads_out_of_the_folder` |
//! | other kinds of files written | `guards::only_text_files_…`, `measuring::the_measured_profile_…` |
//! | script in names; framing | `guards::script_in_a_profile_is_a_name`, `answers_are_locked_…`; in the browser `harmless` |
//! | a huge body or head | `patience::a_huge_body_is_refused_by_its_size` |
//! | a slow head, body, reader | `patience::a_client_that_never_ends_its_head_…`, `…_its_body_…`, `…_does_not_read_is_cut_off` |
//! | many clients | `patience::many_clients_wait_their_turn`, `a_crowd_is_served_to_the_last` |
//! | many slow clients | `patience::who_keeps_others_waiting_loses_its_place` |
//! | other machines | `patience::other_machines_cannot_be_served` |
//! | a save over another's change, or one that could not be read again | `saving::what_was_changed_…`, `what_could_not_be_opened_again_…` |
//! | malformed requests | `guards::nonsense_gets_a_reason`; 1,600 changed ones in `tests/attacks/` |
//! | a kill while it saves | `tests/attacks/`, `a_kill_leaves_the_old_night_or_the_new_one` |
//!
//! Known and left: a folder has the same port each time, for a browser keeps drafts by address; who listens there while the
//! program does not run, and leads the browser to it, could read them. The browser is started with the address, key and all, on a command line that other users of the
//! machine can see for a moment (`--no-open` avoids it); links inside a folder that is measured are followed; who may
//! write in the folder could swap a link between look and open.

#![expect(
    clippy::disallowed_types,
    clippy::disallowed_methods,
    reason = "this module serves files of one folder and shows how long a measurement takes"
)]

mod api;
mod assets;
mod folder;
mod guard;
mod job;
mod kinds;
mod link;
mod phone;
mod reports;
mod server;
mod watching;

pub use api::{Api, Response};
pub use folder::{Contents, Folder, FolderOfFrames};
pub use guard::{Guard, Request};
pub use job::{Measure, Progress, measure_folders};
pub use phone::{offline_module, planner_file};
pub use server::{Limits, serve};
pub use watching::{Event, Watching};
