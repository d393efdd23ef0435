//! Whether a panel would show the tray's icon, as the protocol `StatusNotifierItem` lets everybody ask.

use crate::doctor::facts::Panel;
use crate::session_bus;
use std::time::Duration;
use zbus::names::BusName;
use zbus::zvariant::{OwnedValue, Value};

/// A bus or a collector that does not answer for so long does not answer.
const PATIENCE: Duration = Duration::from_secs(3);
/// Who collects icons: the protocol's own names.
const COLLECTOR: &str = "org.kde.StatusNotifierWatcher";
const COLLECTOR_PATH: &str = "/StatusNotifierWatcher";
const SHOWN: &str = "IsStatusNotifierHostRegistered";
const PROPERTIES: &str = "org.freedesktop.DBus.Properties";

/// Asks the session bus.
pub(super) fn look() -> Option<Panel> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().ok()?;
    let asked = runtime.block_on(async { tokio::time::timeout(PATIENCE, ask()).await });
    // A connection that is being made may be in a blocking call.
    runtime.shutdown_background();
    Some(match asked {
        Ok(Ok(panel)) => panel,
        Ok(Err(why)) => Panel::NoBus(why),
        Err(_) => Panel::NoBus("it does not answer".to_owned()),
    })
}

async fn ask() -> Result<Panel, String> {
    let bus = session_bus::connect().await?;
    let names = zbus::fdo::DBusProxy::new(&bus).await.map_err(|error| error.to_string())?;
    let collector = BusName::try_from(COLLECTOR).map_err(|error| error.to_string())?;
    if !names.name_has_owner(collector).await.map_err(|error| error.to_string())? {
        return Ok(Panel::NobodyCollects);
    }
    let question = (COLLECTOR, SHOWN);
    let answer = bus.call_method(Some(COLLECTOR), COLLECTOR_PATH, Some(PROPERTIES), "Get", &question).await;
    // One that cannot say so is one that shows nothing.
    let shown = answer.is_ok_and(|answer| {
        answer.body().deserialize::<OwnedValue>().is_ok_and(|value| matches!(*value, Value::Bool(true)))
    });
    Ok(if shown { Panel::Shows } else { Panel::NobodyShows })
}
