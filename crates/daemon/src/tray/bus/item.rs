//! The item that a panel shows, through ksni.

use super::message::plain;
use crate::tray::icon::{self, Glance};
use crate::tray::menu::Entry;
use crate::tray::sight::Wish;
use crate::tray::tender::Face;
use ksni::TrayMethods;
use ksni::menu::{CheckmarkItem, RadioGroup, RadioItem, StandardItem, SubMenu};
use std::cell::RefCell;
use tokio::sync::mpsc::Sender;

/// The item that is offered to panels, or none where the bus refused it.
pub(super) struct Item {
    wishes: Sender<Wish>,
    handle: Option<ksni::Handle<Shown>>,
}

impl Item {
    /// Not offered yet.
    pub(super) const fn new(wishes: Sender<Wish>) -> Self {
        Self { wishes, handle: None }
    }

    /// Whether the bus has it.
    pub(super) const fn is_offered(&self) -> bool {
        self.handle.is_some()
    }

    /// Offers the item to the panel that is there or comes later.
    pub(super) async fn offer(&mut self, face: Face) {
        let shown = Shown { face, wishes: self.wishes.clone(), pictures: RefCell::default() };
        match shown.assume_sni_available(true).spawn().await {
            Ok(handle) => self.handle = Some(handle),
            Err(error) => tracing::info!(%error, "no tray"),
        }
    }

    /// Shows another face.
    pub(super) async fn show(&self, face: Face) {
        if let Some(handle) = &self.handle {
            handle.update(|shown| shown.face = face).await;
        }
    }

    /// Takes the item off the bus.
    pub(super) async fn end(&mut self) {
        // Before the handle is dropped: without one, ksni's task would have nothing left to wait for, and panic.
        if let Some(handle) = self.handle.take() {
            handle.shutdown().await;
        }
    }
}

/// What the panel reads.
struct Shown {
    face: Face,
    wishes: Sender<Wish>,
    /// The pictures of a glance, drawn when first asked for.
    pictures: RefCell<Option<(Glance, Vec<ksni::Icon>)>>,
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
            Some((glance, icons)) if *glance == self.face.glance => icons.clone(),
            _ => {
                let icons = icons(&self.face.glance);
                *pictures = Some((self.face.glance.clone(), icons.clone()));
                icons
            }
        }
    }

    fn tool_tip(&self) -> ksni::ToolTip {
        ksni::ToolTip {
            title: "Tallywheel".to_owned(),
            description: plain(&self.face.tip),
            ..ksni::ToolTip::default()
        }
    }

    fn menu(&self) -> Vec<ksni::MenuItem<Self>> {
        entries(&self.face.menu)
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
    fn wish(&self, wish: &Wish) {
        if let Err(error) = self.wishes.try_send(wish.clone()) {
            tracing::warn!(%error, "too many clicks at once; one was dropped");
        }
    }
}

fn icons(glance: &Glance) -> Vec<ksni::Icon> {
    let icons = icon::SIZES_PX.iter().filter_map(|size| {
        let mut data = icon::draw(glance, *size)?.take_demultiplied();
        for pixel in data.chunks_exact_mut(4) {
            // The protocol wants alpha first.
            pixel.rotate_right(1);
        }
        Some(ksni::Icon { width: i32::from(*size), height: i32::from(*size), data })
    });
    icons.collect()
}

fn entries(list: &[Entry]) -> Vec<ksni::MenuItem<Shown>> {
    list.iter().map(entry).collect()
}

fn entry(entry: &Entry) -> ksni::MenuItem<Shown> {
    match entry {
        Entry::Words(words) => {
            StandardItem { label: label(words), enabled: false, ..StandardItem::default() }.into()
        }
        Entry::Button(words, wish) => {
            let wish = wish.clone();
            let activate = Box::new(move |shown: &mut Shown| shown.wish(&wish));
            StandardItem { label: label(words), activate, ..StandardItem::default() }.into()
        }
        Entry::Check { label: words, on, wish } => {
            let wish = wish.clone();
            let activate = Box::new(move |shown: &mut Shown| shown.wish(&wish));
            CheckmarkItem { label: label(words), checked: *on, activate, ..CheckmarkItem::default() }.into()
        }
        Entry::Choice { chosen, options } => {
            let wishes: Vec<_> = options.iter().map(|(_, wish)| wish.clone()).collect();
            let options = options
                .iter()
                .map(|(words, _)| RadioItem { label: label(words), ..RadioItem::default() })
                .collect();
            RadioGroup {
                selected: chosen.unwrap_or(usize::MAX),
                select: Box::new(move |shown: &mut Shown, place| {
                    if let Some(wish) = wishes.get(place) {
                        shown.wish(wish);
                    }
                }),
                options,
            }
            .into()
        }
        Entry::More(words, list) => {
            SubMenu { label: label(words), submenu: entries(list), ..SubMenu::default() }.into()
        }
        Entry::Line => ksni::MenuItem::Separator,
    }
}

/// By the menu protocol a single underscore means an access key.
fn label(words: &str) -> String {
    words.replace('_', "__")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pixels_are_alpha_first_and_not_premultiplied() {
        let icons = icons(&Glance::default());
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
