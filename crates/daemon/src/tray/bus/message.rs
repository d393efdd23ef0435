//! Notifications by the Desktop Notifications Specification 1.2 (`org.freedesktop.Notifications`).

use std::collections::HashMap;
use tallywheel_engine::notifications::Message;
use zbus::export::futures_core::Stream;
use zbus::zvariant::Value;

/// Shows `message` in place of the notification numbered `replaces` (0: of none) and returns its number.
pub(super) async fn send(bus: &zbus::Connection, message: &Message, replaces: u32) -> zbus::Result<u32> {
    // By the specification: urgency 1 is normal; the body may be read as markup.
    let hints = HashMap::from([("urgency", Value::U8(1)), ("desktop-entry", Value::from("tallywheel"))]);
    let no_actions: [&str; 0] = [];
    let body = plain(&message.body);
    let default_time_ms = -1_i32;
    let icon = "input-gaming";
    let arguments = (
        "Tallywheel",
        replaces,
        icon,
        message.title.as_str(),
        body.as_str(),
        &no_actions[..],
        hints,
        default_time_ms,
    );
    let path = "/org/freedesktop/Notifications";
    let name = "org.freedesktop.Notifications";
    let answer = bus.call_method(Some(name), path, Some(name), "Notify", &arguments).await?;
    answer.body().deserialize()
}

/// Escapes text so that it stays as it is where it is read as markup.
pub(super) fn plain(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

/// Returns when the bus has gone.
pub(super) async fn end_of(bus: &zbus::Connection) {
    let stream = zbus::MessageStream::from(bus);
    tokio::pin!(stream);
    while let Some(Ok(_)) = std::future::poll_fn(|context| stream.as_mut().poll_next(context)).await {}
}
