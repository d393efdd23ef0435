//! Turns notes into log lines, each with board, wheel and reason.

use crate::logging::LOSS_TARGET;
use crate::note::{BoardChange, Note, NoteListener};
use crate::plan::Names;
use crate::report::last_hour::Keeper;
use tallywheel_units::Loss;

/// Writes notes to the log and to the recording of the last hour as they come, for ever.
pub async fn keep(listener: &NoteListener, names: &Names, keeper: &mut Keeper) {
    loop {
        drain(listener, names, keeper);
        listener.wait().await;
    }
}

/// Writes the notes that wait, and how many could not wait.
pub fn drain(listener: &NoteListener, names: &Names, keeper: &mut Keeper) {
    while let Some(note) = listener.try_next() {
        keeper.note(&note);
        write(&note, names);
    }
    keeper.flush();
    let held_back = listener.take_held_back();
    if held_back > 0 {
        tracing::warn!(
            notes = held_back,
            "too much happened at once; these log lines are missing, no counts are"
        );
    }
}

fn write(note: &Note, names: &Names) {
    match note {
        Note::Counted { at, wheel, counts } => {
            tracing::trace!(at = %at, board = names.board_of(*wheel), wheel = names.wheel(*wheel), counts = counts.get(), "counted");
        }
        Note::Lost { board, wheel, loss } => lost(names.board(*board), names.wheel(*wheel), loss),
        Note::Report { .. } | Note::Device { .. } | Note::Unplugged { .. } => {}
        Note::Board { board, change } => {
            let board = names.board(*board);
            match change {
                BoardChange::Reading { path, name } => {
                    tracing::info!(board, path, device = name, "reading the board");
                }
                BoardChange::Missing => tracing::warn!(board, "the board is not plugged in; waiting for it"),
                BoardChange::Gone => tracing::warn!(board, "the board is gone; waiting for it to come back"),
                BoardChange::Refused { reason, cure } => {
                    tracing::error!(board, reason, cure, "the board is there but cannot be read");
                }
            }
        }
        Note::Output { output, change, bad: false } => tracing::info!(output, "{change}"),
        Note::Output { output, change, bad: true } => tracing::error!(output, "{change}"),
    }
}

fn lost(board: &str, wheel: &str, loss: &Loss) {
    tracing::warn!(
        target: LOSS_TARGET,
        board,
        wheel,
        reason = loss.kind.name(),
        certainty = loss.certainty.name(),
        fault = loss.kind.fault().name(),
        at = %loss.at,
        lasted_ms = loss.lasted.as_secs_f64() * 1e3,
        reports = loss.reports,
        margin = %loss.bound,
        "{}; {}",
        loss.kind.cause(),
        loss.kind.advice(),
    );
}
