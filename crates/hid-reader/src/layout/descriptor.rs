//! From a report descriptor to the fields of its input reports, by the rules of Linux 6.1's hid-core.c.
//!
//! `hidreport` splits the descriptor into items. What the items mean is worked out here and not by its
//! `ReportDescriptor`, for three reasons. It keeps only the last of several usage ranges in one field, where
//! the kernel appends them all. It reads `26 FF FF` as -1 where the kernel, and every board that sends it,
//! means 65535. And some descriptors make it panic (a usage before any usage page) or ask for gigabytes
//! (a usage range up to FFFFFFFF), which a board that somebody plugs in must not be able to do. A test
//! holds the two against each other wherever they should agree.
//!
//! Two things that the kernel takes are refused with `hidreport`: a main item with an unknown tag, which the
//! kernel passes over, and an Input item without a data byte, which is an array to it.

use super::LayoutError;
use super::field::Range;
use hidreport::hid::{
    CollectionItem, GlobalItem, Item, ItemType, LocalItem, MainDataItem, MainItem, ReportDescriptorItems,
};

// The kernel's limits (include/linux/hid.h, 6.1), and its spelling of them.
const HID_MAX_DESCRIPTOR_SIZE: usize = 4096;
const HID_MAX_USAGES: u32 = 12_288;
const HID_MAX_FIELDS: usize = 256;
const HID_MAX_IDS: u32 = 256;
const HID_GLOBAL_STACK_SIZE: usize = 4;
const HID_MAX_BUFFER_SIZE: usize = crate::REPORT_BYTES_MAX;
const HID_MAX_REPORT_SIZE: u32 = 256;

/// Usages with running numbers, the page in the upper 16 bits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Usages {
    first: u32,
    /// At least 1.
    count: u32,
    /// The descriptor gave the page with the usage, so that a later Usage Page item does not change it.
    extended: bool,
}

impl Usages {
    fn page(self) -> u32 {
        self.first >> 16
    }

    fn with_page(self, page: u32) -> Self {
        Self { first: (self.first & 0xFFFF) | (page << 16), ..self }
    }

    pub(super) fn iter(self) -> impl Iterator<Item = u32> {
        (0..self.count).map(move |i| match (self.first.wrapping_add(i), self.extended) {
            (usage, true) => usage,
            (usage, false) => (self.first & 0xFFFF_0000) | (usage & 0xFFFF),
        })
    }
}

/// One Input item of the descriptor that carries data.
#[derive(Debug)]
pub(super) struct Field {
    /// The usage of the application collection around it, 0 outside any.
    pub(super) application: u32,
    pub(super) variable: bool,
    pub(super) range: Range,
    /// The field's first bit, not counting a report ID.
    pub(super) first_bit: usize,
    /// Bits of each of its controls.
    pub(super) size: u32,
    /// How many controls.
    pub(super) count: u32,
    /// At least one; the last usage goes for all controls beyond.
    pub(super) usages: Vec<Usages>,
}

#[derive(Debug)]
pub(super) struct InputReport {
    /// 0 when no Report ID item came before its fields.
    pub(super) id: u8,
    bits: usize,
    pub(super) fields: Vec<Field>,
}

#[derive(Debug, Clone, Copy, Default)]
struct Globals {
    usage_page: u32,
    logical_minimum: i32,
    logical_maximum: i32,
    report_size: u32,
    report_count: u32,
    report_id: u8,
}

#[derive(Debug, Default)]
struct Locals {
    usages: Vec<Usages>,
    count: u32,
    minimum: u32,
    delimiter_open: bool,
    delimiter_branch: u32,
}

#[derive(Debug, Default)]
struct Parser {
    globals: Globals,
    pushed: Vec<Globals>,
    locals: Locals,
    collections: Vec<(CollectionItem, u32)>,
    reports: Vec<InputReport>,
}

/// The input reports in the order in which the descriptor first names them.
pub(super) fn input_reports(descriptor: &[u8]) -> Result<Vec<InputReport>, LayoutError> {
    match descriptor.len() {
        0 => return Err(LayoutError::Empty),
        1..=HID_MAX_DESCRIPTOR_SIZE => {}
        bytes => return Err(LayoutError::TooLong { bytes }),
    }
    let items = ReportDescriptorItems::try_from(descriptor).map_err(|error| match error {
        hidreport::ParserError::InvalidData { offset, message } => {
            LayoutError::Descriptor { offset, reason: message }
        }
        other => LayoutError::Descriptor { offset: 0, reason: other.to_string() },
    })?;
    let mut parser = Parser::default();
    for item in items.iter() {
        parser
            .take(item.item())
            .map_err(|reason| LayoutError::Descriptor { offset: item.offset(), reason: reason.into() })?;
    }
    parser
        .finish()
        .map_err(|reason| LayoutError::Descriptor { offset: descriptor.len(), reason: reason.into() })
}

type Taken = Result<(), &'static str>;

impl Parser {
    fn take(&mut self, item: &impl Item) -> Taken {
        // hid-core.c, fetch_item: the tag alone makes an item long, and hid_open_report takes none.
        if item.tag() == 0xF {
            return Err("a long item, which no HID version defines");
        }
        match item.item_type() {
            ItemType::Main(main) => self.main(&main),
            ItemType::Global(global) => self.global(&global, item),
            ItemType::Local(local) => self.local(&local, item),
            ItemType::Long | ItemType::Reserved => Ok(()),
        }
    }

    fn finish(self) -> Result<Vec<InputReport>, &'static str> {
        if !self.collections.is_empty() {
            return Err("a collection is still open at the end");
        }
        if self.locals.delimiter_open {
            return Err("a delimiter is still open at the end");
        }
        Ok(self.reports)
    }

    fn main(&mut self, item: &MainItem) -> Taken {
        self.complete_usages();
        match item {
            MainItem::Collection(kind) => {
                let usage = self.locals.usages.first().map_or(0, |usages| usages.first);
                self.collections.push((*kind, usage));
            }
            MainItem::EndCollection => {
                self.collections.pop().ok_or("an End Collection without a collection")?;
            }
            MainItem::Input(input) => {
                self.input(input.is_constant(), input.is_variable(), input.has_null_state())?;
            }
            // The kernel looks at their logical range too, and refuses the board if it is the wrong way
            // round. It has no input for us then either way.
            MainItem::Output(_) | MainItem::Feature(_) => self.logical_range()?,
        }
        self.locals = Locals::default();
        Ok(())
    }

    fn logical_range(&self) -> Taken {
        let Globals { logical_minimum: minimum, logical_maximum: maximum, .. } = self.globals;
        let reversed =
            if minimum < 0 { maximum < minimum } else { maximum.cast_unsigned() < minimum.cast_unsigned() };
        if reversed { Err("the Logical Maximum is below the Logical Minimum") } else { Ok(()) }
    }

    fn input(&mut self, constant: bool, variable: bool, null_state: bool) -> Taken {
        self.logical_range()?;
        let application = self.application();
        let Globals { logical_minimum: minimum, logical_maximum: maximum, .. } = self.globals;
        let Globals { report_size: size, report_count: count, report_id: id, .. } = self.globals;
        let report = match self.reports.iter_mut().position(|report| report.id == id) {
            Some(place) => self.reports.get_mut(place),
            None => {
                self.reports.push(InputReport { id, bits: 0, fields: Vec::new() });
                self.reports.last_mut()
            }
        };
        let Some(report) = report else { return Ok(()) };
        let first_bit = report.bits;
        // At most 256 x 12,288 a field, and the sum is checked at each.
        report.bits = report.bits.saturating_add(usize::try_from(size * count).unwrap_or(usize::MAX));
        if report.bits > (HID_MAX_BUFFER_SIZE - 1) * 8 {
            return Err("an input report longer than 16,383 bytes");
        }
        // No usage makes padding; so does a constant, which hid-input.c skips; and fields past the kernel's
        // limit do not exist for it.
        if constant || count == 0 || self.locals.usages.is_empty() || report.fields.len() >= HID_MAX_FIELDS {
            return Ok(());
        }
        report.fields.push(Field {
            application,
            variable,
            range: Range { minimum, maximum, null_state },
            first_bit,
            size,
            count,
            usages: std::mem::take(&mut self.locals.usages),
        });
        Ok(())
    }

    fn application(&self) -> u32 {
        let mut outward = self.collections.iter().rev();
        outward.find(|(kind, _)| *kind == CollectionItem::Application).map_or(0, |(_, usage)| *usage)
    }

    fn global(&mut self, item: &GlobalItem, raw: &impl Item) -> Taken {
        match item {
            GlobalItem::UsagePage(_) => self.globals.usage_page = unsigned(raw) & 0xFFFF,
            GlobalItem::LogicalMinimum(_) => self.globals.logical_minimum = signed(raw),
            // The maximum is signed only if the minimum, which must come before it, is below zero.
            GlobalItem::LogicalMaximum(_) if self.globals.logical_minimum < 0 => {
                self.globals.logical_maximum = signed(raw);
            }
            GlobalItem::LogicalMaximum(_) => self.globals.logical_maximum = unsigned(raw).cast_signed(),
            GlobalItem::ReportSize(_) => match unsigned(raw) {
                size @ 0..=HID_MAX_REPORT_SIZE => self.globals.report_size = size,
                _ => return Err("a Report Size above 256 bits"),
            },
            GlobalItem::ReportCount(_) => match unsigned(raw) {
                count @ 0..=HID_MAX_USAGES => self.globals.report_count = count,
                _ => return Err("a Report Count above 12,288"),
            },
            GlobalItem::ReportId(_) => match unsigned(raw) {
                id @ 1..HID_MAX_IDS => self.globals.report_id = u8::try_from(id).unwrap_or(u8::MAX),
                _ => return Err("a Report ID outside 1 to 255"),
            },
            GlobalItem::Push if self.pushed.len() >= HID_GLOBAL_STACK_SIZE => {
                return Err("more than four Push items deep");
            }
            GlobalItem::Push => self.pushed.push(self.globals),
            GlobalItem::Pop => self.globals = self.pushed.pop().ok_or("a Pop without a Push")?,
            GlobalItem::Reserved => return Err("a global item that HID does not define"),
            GlobalItem::PhysicalMinimum(_)
            | GlobalItem::PhysicalMaximum(_)
            | GlobalItem::UnitExponent(_)
            | GlobalItem::Unit(_) => {}
        }
        Ok(())
    }

    fn local(&mut self, item: &LocalItem, raw: &impl Item) -> Taken {
        let data = unsigned(raw);
        let extended = raw.size() > 3;
        // Of several alternative usages (a delimited set) only the first counts.
        let alternative = self.locals.delimiter_branch > 1;
        match item {
            LocalItem::Delimiter(_) if data != 0 => {
                if self.locals.delimiter_open {
                    return Err("a delimiter within a delimiter");
                }
                self.locals.delimiter_open = true;
                self.locals.delimiter_branch = self.locals.delimiter_branch.saturating_add(1);
            }
            LocalItem::Delimiter(_) => {
                if !self.locals.delimiter_open {
                    return Err("a delimiter closes that was not open");
                }
                self.locals.delimiter_open = false;
            }
            _ if alternative => {}
            LocalItem::Usage(..) | LocalItem::UsageId(_) => self.add_usages(data, 1, extended)?,
            LocalItem::UsageMinimum(_) => self.locals.minimum = data,
            LocalItem::UsageMaximum(_) => {
                let first = self.locals.minimum;
                let free = HID_MAX_USAGES.saturating_sub(self.locals.count);
                // A range that is too long, or the wrong way round, is cut off at the kernel's limit.
                match data.wrapping_sub(first) {
                    more if more >= free => self.add_usages(first, free, extended)?,
                    more => self.add_usages(first, more.saturating_add(1), extended)?,
                }
            }
            _ => {}
        }
        Ok(())
    }

    fn add_usages(&mut self, first: u32, count: u32, extended: bool) -> Taken {
        let total = self.locals.count.saturating_add(count);
        if count == 0 || total > HID_MAX_USAGES {
            return Err("more than 12,288 usages for one field");
        }
        self.locals.count = total;
        let usages = Usages { first, count, extended };
        self.locals.usages.push(if extended { usages } else { usages.with_page(self.globals.usage_page) });
        Ok(())
    }

    /// Section 6.2.2.8: the usage page that counts is the one in force at the main item. hid-core.c,
    /// `hid_concatenate_last_usage_page`: going back from the last usage until one has that page already.
    fn complete_usages(&mut self) {
        let page = self.globals.usage_page;
        for usages in self.locals.usages.iter_mut().rev().filter(|usages| !usages.extended) {
            if usages.page() == page {
                break;
            }
            *usages = usages.with_page(page);
        }
    }
}

fn unsigned(item: &impl Item) -> u32 {
    let data = item.data();
    let bytes = data.iter().flat_map(|data| data.iter());
    bytes.rev().fold(0, |sum, byte| (sum << 8) | u32::from(*byte))
}

fn signed(item: &impl Item) -> i32 {
    match item.size() {
        2 => (unsigned(item) << 24).cast_signed() >> 24,
        3 => (unsigned(item) << 16).cast_signed() >> 16,
        _ => unsigned(item).cast_signed(),
    }
}
