//! The tray on Windows: an icon in the notification area, on a thread of its own, since its messages go to the thread
//! that made it. Messages are shown beside the icon, one after the other (`balloon`).

mod balloon;

use super::TrayHost;
use super::icon::{self, Glance};
use super::menu::Entry;
use super::sight::Wish;
use super::tender::Face;
use super::turns::Turns;
use balloon::Balloon;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tallywheel_engine::notifications::Message;
use tokio::sync::mpsc::{self, Receiver, Sender};
use tokio::sync::{Notify, watch};
use tray_icon::menu::{CheckMenuItem, IsMenuItem, Menu, MenuEvent, MenuItem, PredefinedMenuItem, Submenu};
use tray_icon::{Icon, MouseButton, MouseButtonState, TrayIcon, TrayIconBuilder, TrayIconEvent};

/// The size that the notification area scales from.
const SIZE_PX: u8 = 32;
/// A message has this long before the next one takes its place: as long as Windows shows one unless told otherwise.
const MESSAGE_FOR: Duration = Duration::from_secs(5);

/// What the tray hands to its thread.
#[derive(Debug)]
pub struct AreaHost {
    face: watch::Sender<Face>,
    messages: Arc<Turns>,
}

impl AreaHost {
    /// Starts the thread, and what paces messages on the running tokio runtime; what users wish for goes to `wishes`.
    #[must_use]
    pub fn start(wishes: Sender<Wish>) -> Self {
        let (face, faces) = watch::channel(Face::default());
        let (next, told) = mpsc::channel(1);
        let messages = Arc::<Turns>::default();
        tokio::spawn(pace(Arc::clone(&messages), next));
        let thread = std::thread::Builder::new().name("tray".into());
        if let Err(error) = thread.spawn(move || winmsg_executor::block_on(keep(faces, told, wishes))) {
            tracing::warn!(%error, "no tray");
        }
        Self { face, messages }
    }
}

/// Hands the thread one message after the other. Not on that thread: the runtime's timers are not for one that may still
/// be there when the runtime has ended.
async fn pace(messages: Arc<Turns>, next: Sender<Message>) {
    loop {
        let message = messages.next().await;
        match next.send(message).await {
            Ok(()) => tokio::time::sleep(MESSAGE_FOR).await,
            Err(mpsc::error::SendError(message)) => untold(&message, "there is no tray"),
        }
    }
}

fn untold(message: &Message, reason: &str) {
    tracing::info!(reason, message.title, message.body, "a message could not be shown on the desktop");
}

impl TrayHost for AreaHost {
    fn show(&self, face: Face) {
        self.face.send_replace(face);
    }

    fn tell(&self, message: Message) {
        if let Err(message) = self.messages.push(message) {
            untold(&message, "too many wait already");
        }
    }
}

/// What the entries of the menu mean, by their numbers; shared with whoever hears of clicks.
type Meanings = Arc<Mutex<Vec<Wish>>>;

/// Whether a menu may be open. An icon whose menu is exchanged meanwhile no longer hears of clicks on the one that is
/// seen, so other lines have to wait. That it opens is certain: a button was let go on the icon. That it was closed
/// without a choice nobody tells, but the icon hears nothing of the mouse before that.
#[derive(Debug, Default)]
struct Open {
    maybe: AtomicBool,
    closed: Notify,
}

impl Open {
    fn touched(&self, event: &TrayIconEvent) {
        match event {
            TrayIconEvent::Click {
                button: MouseButton::Left | MouseButton::Right,
                button_state: MouseButtonState::Up,
                ..
            } => self.maybe.store(true, Ordering::Relaxed),
            _ => self.close(),
        }
    }

    fn close(&self) {
        if self.maybe.swap(false, Ordering::Relaxed) {
            self.closed.notify_one();
        }
    }
}

async fn keep(mut faces: watch::Receiver<Face>, mut messages: Receiver<Message>, wishes: Sender<Wish>) {
    let meanings = Meanings::default();
    let open = Arc::new(Open::default());
    let (clicked, chosen) = (Arc::clone(&meanings), Arc::clone(&open));
    MenuEvent::set_event_handler(Some(move |event: MenuEvent| {
        let meanings = clicked.lock().unwrap_or_else(PoisonError::into_inner);
        let wish = event.id.as_ref().parse().ok().and_then(|number: usize| meanings.get(number));
        if let Some(wish) = wish
            && let Err(error) = wishes.try_send(wish.clone())
        {
            tracing::warn!(%error, "too many clicks at once; one was dropped");
        }
        chosen.close();
    }));
    let touched = Arc::clone(&open);
    TrayIconEvent::set_event_handler(Some(move |event: TrayIconEvent| touched.touched(&event)));
    let mut shown: Option<Shown> = None;
    let mut said = false;
    loop {
        tokio::select! {
            changed = faces.changed() => if changed.is_err() { return },
            () = open.closed.notified() => {}
            // Without an icon there is nowhere to show it yet.
            Some(message) = messages.recv(), if shown.is_some() => {
                shown.iter_mut().for_each(|shown| shown.tell(&message));
                continue;
            }
        }
        let face = faces.borrow_and_update().clone();
        match &mut shown {
            Some(shown) => shown.show(face, &meanings, open.maybe.load(Ordering::Relaxed)),
            None => match Shown::new(face, &meanings) {
                Ok(new) => shown = Some(new),
                // There may be no taskbar yet; the next face tries again.
                Err(error) => {
                    if !said {
                        tracing::info!(%error, "no tray; waiting for one");
                    }
                    said = true;
                }
            },
        }
    }
}

/// The icon as it is shown.
struct Shown {
    /// What it shows; its menu is the one that is there, also while a newer one waits.
    face: Face,
    icon: TrayIcon,
    menu: Lines,
    balloon: Balloon,
}

impl Shown {
    fn new(face: Face, meanings: &Meanings) -> tray_icon::Result<Self> {
        let menu = Lines::new(&face.menu, meanings);
        let mut builder = TrayIconBuilder::new()
            .with_id("tallywheel")
            .with_menu(Box::new(menu.menu.clone()))
            .with_tooltip(&face.tip);
        if let Some(picture) = picture(&face.glance) {
            builder = builder.with_icon(picture);
        }
        Ok(Self { icon: builder.build()?, face, menu, balloon: Balloon::default() })
    }

    fn show(&mut self, mut face: Face, meanings: &Meanings, open: bool) {
        if face.glance != self.face.glance {
            log(self.icon.set_icon(picture(&face.glance)));
        }
        if face.tip != self.face.tip {
            log(self.icon.set_tooltip(Some(&face.tip)));
        }
        if face.menu != self.face.menu && !self.menu.change(&face.menu, meanings) {
            if open {
                face.menu = std::mem::take(&mut self.face.menu);
            } else {
                self.menu = Lines::new(&face.menu, meanings);
                self.icon.set_menu(Some(Box::new(self.menu.menu.clone())));
            }
        }
        self.face = face;
    }

    fn tell(&mut self, message: &Message) {
        if let Err(reason) = self.balloon.show(&self.icon, message) {
            untold(message, reason);
        }
    }
}

fn log(done: tray_icon::Result<()>) {
    if let Err(error) = done {
        tracing::debug!(%error, "the tray could not be changed");
    }
}

fn picture(glance: &Glance) -> Option<Icon> {
    let rgba = icon::draw(glance, SIZE_PX)?.take_demultiplied();
    Icon::from_rgba(rgba, u32::from(SIZE_PX), u32::from(SIZE_PX)).ok()
}

/// A menu and its lines in their order, so that words can change while it is open.
struct Lines {
    menu: Menu,
    lines: Vec<Line>,
}

enum Line {
    Plain(MenuItem),
    Check(CheckMenuItem),
    More(Submenu),
    Rule,
}

/// What one line says: its label, whether it is on, what it means.
struct Says<'a> {
    label: &'a str,
    on: Option<bool>,
    wish: Option<&'a Wish>,
}

impl Lines {
    fn new(entries: &[Entry], meanings: &Meanings) -> Self {
        let mut built = Self { menu: Menu::new(), lines: Vec::new() };
        let mut meanings = meanings.lock().unwrap_or_else(PoisonError::into_inner);
        meanings.clear();
        let menu = built.menu.clone();
        built.add(entries, &mut meanings, &|item| menu.append(item).is_ok());
        drop(meanings);
        built
    }

    fn add(&mut self, entries: &[Entry], means: &mut Vec<Wish>, append: &dyn Fn(&dyn IsMenuItem) -> bool) {
        for entry in entries {
            match entry {
                Entry::Line => {
                    append(&PredefinedMenuItem::separator());
                    self.lines.push(Line::Rule);
                }
                Entry::More(words, entries) => {
                    let more = Submenu::new(label(words), true);
                    append(&more);
                    self.lines.push(Line::More(more.clone()));
                    self.add(entries, means, &|item| more.append(item).is_ok());
                }
                other => {
                    for says in sayings(other) {
                        self.lines.push(line(&says, means, append));
                    }
                }
            }
        }
    }

    /// Changes words and marks in place; false where the menu has other lines now.
    fn change(&self, entries: &[Entry], meanings: &Meanings) -> bool {
        let mut means = Vec::new();
        let mut rest = self.lines.as_slice();
        // First a dry run: half a change would be worse than none.
        let fits = fit(entries, &mut rest, &mut means, false) && rest.is_empty();
        if fits {
            means.clear();
            let mut rest = self.lines.as_slice();
            fit(entries, &mut rest, &mut means, true);
            *meanings.lock().unwrap_or_else(PoisonError::into_inner) = means;
        }
        fits
    }
}

fn fit(entries: &[Entry], lines: &mut &[Line], means: &mut Vec<Wish>, change: bool) -> bool {
    entries.iter().all(|entry| match entry {
        Entry::Line => matches!(next(lines), Some(Line::Rule)),
        Entry::More(words, entries) => {
            let Some(Line::More(more)) = next(lines) else { return false };
            if change {
                more.set_text(label(words));
            }
            fit(entries, lines, means, change)
        }
        other => sayings(other).iter().all(|says| {
            means.extend(says.wish.cloned());
            match (next(lines), says.on) {
                (Some(Line::Plain(item)), None) if item.is_enabled() == says.wish.is_some() => {
                    if change {
                        item.set_text(label(says.label));
                    }
                    true
                }
                (Some(Line::Check(item)), Some(on)) => {
                    if change {
                        item.set_text(label(says.label));
                        item.set_checked(on);
                    }
                    true
                }
                _ => false,
            }
        }),
    })
}

fn next<'a>(lines: &mut &'a [Line]) -> Option<&'a Line> {
    let (first, rest) = lines.split_first()?;
    *lines = rest;
    Some(first)
}

/// An entry that is no submenu and no rule, line by line.
fn sayings(entry: &Entry) -> Vec<Says<'_>> {
    match entry {
        Entry::Words(label) => vec![Says { label, on: None, wish: None }],
        Entry::Button(label, wish) => vec![Says { label, on: None, wish: Some(wish) }],
        Entry::Check { label, on, wish } => vec![Says { label, on: Some(*on), wish: Some(wish) }],
        Entry::Choice { chosen, options } => options
            .iter()
            .enumerate()
            .map(|(place, (label, wish))| Says { label, on: Some(*chosen == Some(place)), wish: Some(wish) })
            .collect(),
        Entry::More(..) | Entry::Line => Vec::new(),
    }
}

fn line(says: &Says<'_>, means: &mut Vec<Wish>, append: &dyn Fn(&dyn IsMenuItem) -> bool) -> Line {
    let number = means.len().to_string();
    means.extend(says.wish.cloned());
    match (says.on, says.wish) {
        (Some(on), _) => {
            let item = CheckMenuItem::with_id(number, label(says.label), true, on, None);
            append(&item);
            Line::Check(item)
        }
        (None, Some(_)) => {
            let item = MenuItem::with_id(number, label(says.label), true, None);
            append(&item);
            Line::Plain(item)
        }
        (None, None) => {
            let item = MenuItem::new(label(says.label), false, None);
            append(&item);
            Line::Plain(item)
        }
    }
}

/// A single ampersand would mean an access key.
fn label(words: &str) -> String {
    words.replace('&', "&&")
}
