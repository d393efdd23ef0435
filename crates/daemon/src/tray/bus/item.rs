//! The item that a panel shows, through ksni.

use super::message::plain;
use crate::tray::icon::{self, IconState};
use crate::tray::menu::MenuEntry;
use crate::tray::presenter::TrayView;
use crate::tray::snapshot::MenuAction;
use ksni::TrayMethods;
use ksni::menu::{CheckmarkItem, RadioGroup, RadioItem, StandardItem, SubMenu};
use std::cell::RefCell;
use tokio::sync::mpsc::Sender;

/// The item that is offered to panels, or none where the bus refused it.
pub(super) struct Item {
    actions: Sender<MenuAction>,
    handle: Option<ksni::Handle<Shown>>,
}

impl Item {
    /// Makes an item that is not offered yet.
    pub(super) const fn new(actions: Sender<MenuAction>) -> Self {
        Self { actions, handle: None }
    }

    /// Tells whether the bus has the item.
    pub(super) const fn is_offered(&self) -> bool {
        self.handle.is_some()
    }

    /// Offers the item to the panel that is there or comes later.
    pub(super) async fn offer(&mut self, view: TrayView) {
        let shown = Shown { view, actions: self.actions.clone(), pictures: RefCell::default() };
        match shown.assume_sni_available(true).spawn().await {
            Ok(handle) => self.handle = Some(handle),
            Err(error) => tracing::info!(%error, "no tray"),
        }
    }

    /// Shows another view.
    pub(super) async fn show(&self, view: TrayView) {
        if let Some(handle) = &self.handle {
            handle.update(|shown| shown.view = view).await;
        }
    }

    /// Takes the item off the bus.
    pub(super) async fn end(&mut self) {
        // This comes before the handle is dropped: without one, ksni's task would have nothing left to wait for, and panic.
        if let Some(handle) = self.handle.take() {
            handle.shutdown().await;
        }
    }
}

/// The item's properties, which the panel reads.
struct Shown {
    view: TrayView,
    actions: Sender<MenuAction>,
    /// The pictures of an icon state, drawn when first asked for.
    pictures: RefCell<Option<(IconState, Vec<ksni::Icon>)>>,
}

impl ksni::Tray for Shown {
    /// Any click opens the menu, where the panel leaves that to us. The wheel over the icon does nothing.
    const MENU_ON_ACTIVATE: bool = true;

    fn id(&self) -> String {
        "tallywheel".to_owned()
    }

    fn title(&self) -> String {
        "Tallywheel".to_owned()
    }

    fn category(&self) -> ksni::Category {
        ksni::Category::Hardware
    }

    fn icon_pixmap(&self) -> Vec<ksni::Icon> {
        let mut pictures = self.pictures.borrow_mut();
        match &*pictures {
            Some((icon_state, icons)) if *icon_state == self.view.icon_state => icons.clone(),
            _ => {
                let icons = icons(&self.view.icon_state);
                *pictures = Some((self.view.icon_state.clone(), icons.clone()));
                icons
            }
        }
    }

    fn tool_tip(&self) -> ksni::ToolTip {
        ksni::ToolTip {
            title: "Tallywheel".to_owned(),
            description: plain(&self.view.tool_tip),
            ..ksni::ToolTip::default()
        }
    }

    fn menu(&self) -> Vec<ksni::MenuItem<Self>> {
        entries(&self.view.menu)
    }

    fn watcher_online(&self) {
        tracing::info!("a panel shows the tray");
    }

    fn watcher_offline(&self, reason: ksni::OfflineReason) -> bool {
        tracing::debug!(?reason, "no panel");
        tracing::info!("no panel shows the tray; waiting for one");
        true
    }
}

impl Shown {
    fn send(&self, action: &MenuAction) {
        if let Err(error) = self.actions.try_send(action.clone()) {
            tracing::warn!(%error, "too many clicks at once; one was dropped");
        }
    }
}

fn icons(icon_state: &IconState) -> Vec<ksni::Icon> {
    let icons = icon::SIZES_PX.iter().filter_map(|size| {
        let mut data = icon::draw(icon_state, *size)?.take_demultiplied();
        for pixel in data.chunks_exact_mut(4) {
            // The protocol wants alpha first.
            pixel.rotate_right(1);
        }
        Some(ksni::Icon { width: i32::from(*size), height: i32::from(*size), data })
    });
    icons.collect()
}

fn entries(list: &[MenuEntry]) -> Vec<ksni::MenuItem<Shown>> {
    list.iter().map(entry).collect()
}

fn entry(entry: &MenuEntry) -> ksni::MenuItem<Shown> {
    match entry {
        MenuEntry::Label(text) => {
            StandardItem { label: label(text), enabled: false, ..StandardItem::default() }.into()
        }
        MenuEntry::Button(text, action) => {
            let action = action.clone();
            let activate = Box::new(move |shown: &mut Shown| shown.send(&action));
            StandardItem { label: label(text), activate, ..StandardItem::default() }.into()
        }
        MenuEntry::Check { label: text, on, action } => {
            let action = action.clone();
            let activate = Box::new(move |shown: &mut Shown| shown.send(&action));
            CheckmarkItem { label: label(text), checked: *on, activate, ..CheckmarkItem::default() }.into()
        }
        MenuEntry::Choice { chosen, options } => {
            let actions: Vec<_> = options.iter().map(|(_, action)| action.clone()).collect();
            let options = options
                .iter()
                .map(|(text, _)| RadioItem { label: label(text), ..RadioItem::default() })
                .collect();
            RadioGroup {
                selected: chosen.unwrap_or(usize::MAX),
                select: Box::new(move |shown: &mut Shown, place| {
                    if let Some(action) = actions.get(place) {
                        shown.send(action);
                    }
                }),
                options,
            }
            .into()
        }
        MenuEntry::Submenu(text, list) => {
            SubMenu { label: label(text), submenu: entries(list), ..SubMenu::default() }.into()
        }
        MenuEntry::Separator => ksni::MenuItem::Separator,
    }
}

/// Escapes a label: by the menu protocol a single underscore means an access key.
fn label(text: &str) -> String {
    text.replace('_', "__")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pixels_are_alpha_first_and_not_premultiplied() {
        let icons = icons(&IconState::default());
        assert_eq!(icons.iter().map(|icon| icon.width).collect::<Vec<_>>(), [16, 22, 24, 32, 48, 64]);
        for icon in &icons {
            assert_eq!(icon.data.len(), usize::try_from(icon.width * icon.height * 4).unwrap());
            // The corner is all but outside the round plate, the middle is opaque ground.
            assert!(icon.data[0] < 0x40, "{} of 255", icon.data[0]);
            let middle = usize::try_from((icon.height / 2 * icon.width + icon.width / 2) * 4).unwrap();
            assert_eq!(icon.data[middle..middle + 4], [0xff, 0x34, 0x34, 0x34]);
        }
    }

    #[test]
    fn an_underscore_is_shown_as_one() {
        assert_eq!(label("one_engine"), "one__engine");
    }
}
