//! The signals by which the user or the system ends the program.

/// Waits for the user or the system to end the program, and says which.
///
/// # Errors
/// Where the system takes no signal handler.
pub async fn stopped() -> std::io::Result<&'static str> {
    signals()?.await
}

/// Takes signals from now on; the future that comes back waits for one and names it.
///
/// # Errors
/// Where the system takes no signal handler.
#[cfg(unix)]
pub fn signals() -> std::io::Result<impl Future<Output = std::io::Result<&'static str>>> {
    use tokio::signal::unix::{SignalKind, signal};
    let mut terminate = signal(SignalKind::terminate())?;
    let mut interrupt = signal(SignalKind::interrupt())?;
    let mut hangup = signal(SignalKind::hangup())?;
    Ok(async move {
        tokio::select! {
            _ = terminate.recv() => Ok("SIGTERM"),
            _ = interrupt.recv() => Ok("Ctrl-C"),
            _ = hangup.recv() => Ok("the terminal closed"),
        }
    })
}

/// Takes signals from now on; the future that comes back waits for one and names it.
///
/// # Errors
/// Where the system takes no signal handler.
#[cfg(windows)]
pub fn signals() -> std::io::Result<impl Future<Output = std::io::Result<&'static str>>> {
    use tokio::signal::windows;
    let (mut interrupt, mut end) = (windows::ctrl_c()?, windows::ctrl_break()?);
    let (mut close, mut log_off, mut shut_down) =
        (windows::ctrl_close()?, windows::ctrl_logoff()?, windows::ctrl_shutdown()?);
    Ok(async move {
        tokio::select! {
            _ = interrupt.recv() => Ok("Ctrl-C"),
            _ = end.recv() => Ok("Ctrl-Break"),
            _ = close.recv() => Ok("the terminal closed"),
            _ = log_off.recv() => Ok("the user logs off"),
            _ = shut_down.recv() => Ok("the system shuts down"),
        }
    })
}
