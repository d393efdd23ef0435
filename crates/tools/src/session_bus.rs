//! The way to the session bus, for the tray and for the doctor.

/// The session bus.
///
/// # Errors
/// There is none; says why.
pub async fn connect() -> Result<zbus::Connection, String> {
    if !there() {
        return Err("DBUS_SESSION_BUS_ADDRESS is not set and there is no XDG_RUNTIME_DIR/bus".to_owned());
    }
    zbus::Connection::session().await.map_err(|error| error.to_string())
}

/// Whether it is worth while to try; looking costs next to nothing, the first try pages in the whole library.
fn there() -> bool {
    let set = |name| std::env::var_os(name).filter(|value| !value.is_empty());
    set("DBUS_SESSION_BUS_ADDRESS").is_some()
        || set("XDG_RUNTIME_DIR").is_some_and(|folder| std::path::Path::new(&folder).join("bus").exists())
}
