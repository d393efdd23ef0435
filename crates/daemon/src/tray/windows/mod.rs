//! The tray on Windows: an icon in the notification area, on a thread of its own, since its messages go to the thread
//! that made it. Messages are shown beside the icon, one after the other (`balloon`).

mod balloon;

use super::TrayHost;
use super::icon::{self, IconState};
use super::menu::MenuEntry;
use super::notification_queue::NotificationQueue;
use super::presenter::TrayView;
use super::snapshot::MenuAction;
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
/// The time before the next message takes a message's place: as long as Windows shows one by default.
const MESSAGE_TIME: Duration = Duration::from_secs(5);

/// The tray in the notification area.
#[derive(Debug)]
pub struct AreaHost {
    view: watch::Sender<TrayView>,
    messages: Arc<NotificationQueue>,
}

impl AreaHost {
    /// Starts the thread, and what paces messages on the running tokio runtime; what users choose in the menu goes to `actions`.
    #[must_use]
    pub fn start(actions: Sender<MenuAction>) -> Self {
        let (view, views) = watch::channel(TrayView::default());
        let (next, paced) = mpsc::channel(1);
        let messages = Arc::<NotificationQueue>::default();
        tokio::spawn(pace(Arc::clone(&messages), next));
        let thread = std::thread::Builder::new().name("tray".into());
        if let Err(error) = thread.spawn(move || winmsg_executor::block_on(show_views(views, paced, actions)))
        {
            tracing::warn!(%error, "no tray");
        }
        Self { view, messages }
    }
}

/// Hands the thread one message after the other. Not on that thread: the runtime's timers are not for one that may still
/// be there when the runtime has ended.
async fn pace(messages: Arc<NotificationQueue>, next: Sender<Message>) {
    loop {
        let message = messages.next().await;
        match next.send(message).await {
            Ok(()) => tokio::time::sleep(MESSAGE_TIME).await,
            Err(mpsc::error::SendError(message)) => not_shown(&message, "there is no tray"),
        }
    }
}

fn not_shown(message: &Message, reason: &str) {
    tracing::info!(reason, message.title, message.body, "a message could not be shown on the desktop");
}

impl TrayHost for AreaHost {
    fn show(&self, view: TrayView) {
        self.view.send_replace(view);
    }

    fn notify(&self, message: Message) {
        if let Err(message) = self.messages.push(message) {
            not_shown(&message, "too many wait already");
        }
    }
}

/// The actions of the menu's entries, by their numbers; shared with the handler of clicks.
type Actions = Arc<Mutex<Vec<MenuAction>>>;

/// Whether a menu may be open. An icon whose menu is exchanged meanwhile no longer hears of clicks on the one that is
/// seen, so other lines have to wait. It opens when a button is let go on the icon. That it was closed
/// without a choice is not reported, but the icon hears nothing of the mouse before that.
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

async fn show_views(
    mut views: watch::Receiver<TrayView>,
    mut messages: Receiver<Message>,
    actions: Sender<MenuAction>,
) {
    let menu_actions = Actions::default();
    let open = Arc::new(Open::default());
    let (clicked, chosen) = (Arc::clone(&menu_actions), Arc::clone(&open));
    MenuEvent::set_event_handler(Some(move |event: MenuEvent| {
        let menu_actions = clicked.lock().unwrap_or_else(PoisonError::into_inner);
        let action = event.id.as_ref().parse().ok().and_then(|number: usize| menu_actions.get(number));
        if let Some(action) = action
            && let Err(error) = actions.try_send(action.clone())
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
            changed = views.changed() => if changed.is_err() { return },
            () = open.closed.notified() => {}
            // Without an icon there is nowhere to show it yet.
            Some(message) = messages.recv(), if shown.is_some() => {
                shown.iter_mut().for_each(|shown| shown.notify(&message));
                continue;
            }
        }
        let view = views.borrow_and_update().clone();
        match &mut shown {
            Some(shown) => shown.show(view, &menu_actions, open.maybe.load(Ordering::Relaxed)),
            None => match Shown::new(view, &menu_actions) {
                Ok(new) => shown = Some(new),
                // There may be no taskbar yet; the next view tries again.
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
    view: TrayView,
    icon: TrayIcon,
    menu: Lines,
    balloon: Balloon,
}

impl Shown {
    fn new(view: TrayView, menu_actions: &Actions) -> tray_icon::Result<Self> {
        let menu = Lines::new(&view.menu, menu_actions);
        let mut builder = TrayIconBuilder::new()
            .with_id("tallywheel")
            .with_menu(Box::new(menu.menu.clone()))
            .with_tooltip(&view.tool_tip);
        if let Some(picture) = picture(&view.icon_state) {
            builder = builder.with_icon(picture);
        }
        Ok(Self { icon: builder.build()?, view, menu, balloon: Balloon::default() })
    }

    fn show(&mut self, mut view: TrayView, menu_actions: &Actions, open: bool) {
        if view.icon_state != self.view.icon_state {
            log(self.icon.set_icon(picture(&view.icon_state)));
        }
        if view.tool_tip != self.view.tool_tip {
            log(self.icon.set_tooltip(Some(&view.tool_tip)));
        }
        if view.menu != self.view.menu && !self.menu.change(&view.menu, menu_actions) {
            if open {
                view.menu = std::mem::take(&mut self.view.menu);
            } else {
                self.menu = Lines::new(&view.menu, menu_actions);
                self.icon.set_menu(Some(Box::new(self.menu.menu.clone())));
            }
        }
        self.view = view;
    }

    fn notify(&mut self, message: &Message) {
        if let Err(reason) = self.balloon.show(&self.icon, message) {
            not_shown(message, reason);
        }
    }
}

fn log(done: tray_icon::Result<()>) {
    if let Err(error) = done {
        tracing::debug!(%error, "the tray could not be changed");
    }
}

fn picture(icon_state: &IconState) -> Option<Icon> {
    let rgba = icon::draw(icon_state, SIZE_PX)?.take_demultiplied();
    Icon::from_rgba(rgba, u32::from(SIZE_PX), u32::from(SIZE_PX)).ok()
}

/// A menu and its lines in their order, so that text can change while it is open.
struct Lines {
    menu: Menu,
    lines: Vec<Line>,
}

enum Line {
    Plain(MenuItem),
    Check(CheckMenuItem),
    Submenu(Submenu),
    Separator,
}

/// The content of one line.
struct LineContent<'a> {
    label: &'a str,
    on: Option<bool>,
    action: Option<&'a MenuAction>,
}

impl Lines {
    fn new(entries: &[MenuEntry], menu_actions: &Actions) -> Self {
        let mut built = Self { menu: Menu::new(), lines: Vec::new() };
        let mut menu_actions = menu_actions.lock().unwrap_or_else(PoisonError::into_inner);
        menu_actions.clear();
        let menu = built.menu.clone();
        built.add(entries, &mut menu_actions, &|item| menu.append(item).is_ok());
        drop(menu_actions);
        built
    }

    fn add(
        &mut self,
        entries: &[MenuEntry],
        list: &mut Vec<MenuAction>,
        append: &dyn Fn(&dyn IsMenuItem) -> bool,
    ) {
        for entry in entries {
            match entry {
                MenuEntry::Separator => {
                    append(&PredefinedMenuItem::separator());
                    self.lines.push(Line::Separator);
                }
                MenuEntry::Submenu(text, entries) => {
                    let more = Submenu::new(label(text), true);
                    append(&more);
                    self.lines.push(Line::Submenu(more.clone()));
                    self.add(entries, list, &|item| more.append(item).is_ok());
                }
                other => {
                    for content in contents(other) {
                        self.lines.push(line(&content, list, append));
                    }
                }
            }
        }
    }

    /// Changes texts and check marks in place; false where the menu has other lines now.
    fn change(&self, entries: &[MenuEntry], menu_actions: &Actions) -> bool {
        let mut list = Vec::new();
        let mut rest = self.lines.as_slice();
        // The first run changes nothing: half a change would be worse than none.
        let fits = fit(entries, &mut rest, &mut list, false) && rest.is_empty();
        if fits {
            list.clear();
            let mut rest = self.lines.as_slice();
            fit(entries, &mut rest, &mut list, true);
            *menu_actions.lock().unwrap_or_else(PoisonError::into_inner) = list;
        }
        fits
    }
}

fn fit(entries: &[MenuEntry], lines: &mut &[Line], list: &mut Vec<MenuAction>, change: bool) -> bool {
    entries.iter().all(|entry| match entry {
        MenuEntry::Separator => matches!(next(lines), Some(Line::Separator)),
        MenuEntry::Submenu(text, entries) => {
            let Some(Line::Submenu(more)) = next(lines) else { return false };
            if change {
                more.set_text(label(text));
            }
            fit(entries, lines, list, change)
        }
        other => contents(other).iter().all(|content| {
            list.extend(content.action.cloned());
            match (next(lines), content.on) {
                (Some(Line::Plain(item)), None) if item.is_enabled() == content.action.is_some() => {
                    if change {
                        item.set_text(label(content.label));
                    }
                    true
                }
                (Some(Line::Check(item)), Some(on)) => {
                    if change {
                        item.set_text(label(content.label));
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

/// Returns the lines of an entry that is no submenu and no separator.
fn contents(entry: &MenuEntry) -> Vec<LineContent<'_>> {
    match entry {
        MenuEntry::Label(label) => vec![LineContent { label, on: None, action: None }],
        MenuEntry::Button(label, action) => vec![LineContent { label, on: None, action: Some(action) }],
        MenuEntry::Check { label, on, action } => {
            vec![LineContent { label, on: Some(*on), action: Some(action) }]
        }
        MenuEntry::Choice { chosen, options } => options
            .iter()
            .enumerate()
            .map(|(place, (label, action))| LineContent {
                label,
                on: Some(*chosen == Some(place)),
                action: Some(action),
            })
            .collect(),
        MenuEntry::Submenu(..) | MenuEntry::Separator => Vec::new(),
    }
}

fn line(
    content: &LineContent<'_>,
    list: &mut Vec<MenuAction>,
    append: &dyn Fn(&dyn IsMenuItem) -> bool,
) -> Line {
    let number = list.len().to_string();
    list.extend(content.action.cloned());
    match (content.on, content.action) {
        (Some(on), _) => {
            let item = CheckMenuItem::with_id(number, label(content.label), true, on, None);
            append(&item);
            Line::Check(item)
        }
        (None, Some(_)) => {
            let item = MenuItem::with_id(number, label(content.label), true, None);
            append(&item);
            Line::Plain(item)
        }
        (None, None) => {
            let item = MenuItem::new(label(content.label), false, None);
            append(&item);
            Line::Plain(item)
        }
    }
}

/// Escapes a label: a single ampersand would mean an access key.
fn label(text: &str) -> String {
    text.replace('&', "&&")
}
