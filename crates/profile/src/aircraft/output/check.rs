use super::file::{OscPrefix, OutputFile, OutputKind, TemplateName};
use super::scale::scale;
use super::{layout, steps};
use crate::names::{Name, Names, trim_index};
use crate::output::{AxisCode, DatagramConfig, DeviceName, KeyPlace, OutputConfig, Scale, Template};
use crate::read::{Field, List, Map, Mistakes, Tables, optional};
use crate::words;
use std::time::Duration;
use tallywheel_units::TrimIndex;

/// The most outputs that an aircraft may have.
const MOST: usize = 64;

/// Tells every mistake in the outputs; the outputs, if there is enough to make them.
pub(in crate::aircraft) fn all(
    output: &Tables<OutputFile>,
    names: &Names<'_>,
    mistakes: &Mistakes<'_>,
) -> Option<Vec<OutputConfig>> {
    let tables = match output {
        None => &[],
        Some(_) => mistakes.tables(output, "output", MOST),
    };
    let outputs: Vec<_> = tables
        .iter()
        .map(|field| field.value.as_ref().and_then(|table| one(table, field.byte, names, mistakes)))
        .collect();
    tell_same_device(&outputs, tables, mistakes);
    tell_same_key(&outputs, tables, mistakes);
    outputs.into_iter().collect()
}

fn one(table: &OutputFile, byte: usize, names: &Names<'_>, mistakes: &Mistakes<'_>) -> Option<OutputConfig> {
    match mistakes.required(&table.kind, byte, "output.kind")? {
        OutputKind::Axis => axis(table, byte, names, mistakes),
        OutputKind::Datagram => datagram(table, byte, names, mistakes),
        OutputKind::Steps => press_steps(table, byte, names, mistakes),
    }
}

const AXIS: &str = "kind = \"axis\"";
const DATAGRAM: &str = "kind = \"datagram\"";
const STEPS: &str = "kind = \"steps\"";

/// Tells of the keys of datagrams.
fn tell_datagram_keys(table: &OutputFile, here: &str, mistakes: &Mistakes<'_>) {
    mistakes.foreign(&table.to, "output.to", DATAGRAM, here);
    mistakes.foreign(&table.template, "output.template", DATAGRAM, here);
    mistakes.foreign(&table.trims, "output.trims", DATAGRAM, here);
    mistakes.foreign(&table.prefix, "output.prefix", DATAGRAM, here);
    mistakes.foreign(&table.layout, "output.layout", DATAGRAM, here);
    mistakes.foreign(&table.min_interval_ms, "output.min_interval_ms", DATAGRAM, here);
    mistakes.foreign(&table.keep_alive_ms, "output.keep_alive_ms", DATAGRAM, here);
}

/// Tells of the keys of steps.
fn tell_steps_keys(table: &OutputFile, here: &str, mistakes: &Mistakes<'_>) {
    mistakes.foreign(&table.presses, "output.presses", STEPS, here);
    mistakes.foreign(&table.low_buttons, "output.low_buttons", STEPS, here);
    mistakes.foreign(&table.high_buttons, "output.high_buttons", STEPS, here);
    mistakes.foreign(&table.low_keys, "output.low_keys", STEPS, here);
    mistakes.foreign(&table.high_keys, "output.high_keys", STEPS, here);
    mistakes.foreign(&table.press_ms, "output.press_ms", STEPS, here);
    mistakes.foreign(&table.pause_ms, "output.pause_ms", STEPS, here);
    mistakes.foreign(&table.extra_presses, "output.extra_presses", STEPS, here);
    mistakes.foreign(&table.settle_ms, "output.settle_ms", STEPS, here);
}

fn press_steps(
    table: &OutputFile,
    byte: usize,
    names: &Names<'_>,
    mistakes: &Mistakes<'_>,
) -> Option<OutputConfig> {
    const OTHERS: &str = "kind = \"axis\" or \"datagram\"";
    mistakes.foreign(&table.axes, "output.axes", AXIS, STEPS);
    mistakes.foreign(&table.range, "output.range", OTHERS, STEPS);
    mistakes.foreign(&table.reversed, "output.reversed", OTHERS, STEPS);
    tell_datagram_keys(table, STEPS, mistakes);
    steps::check(table, byte, names, mistakes)
}

fn axis(table: &OutputFile, byte: usize, names: &Names<'_>, mistakes: &Mistakes<'_>) -> Option<OutputConfig> {
    let OutputFile { kind: _, device, axes, range, reversed, .. } = table;
    tell_datagram_keys(table, AXIS, mistakes);
    tell_steps_keys(table, AXIS, mistakes);
    let axes = match axes {
        None => default_axes(byte, names, mistakes),
        Some(_) => chosen_axes(axes, names, mistakes),
    };
    let device = optional(device)?.cloned();
    let scale = scale(range, reversed, Scale::UNIT, "output", mistakes)?;
    let (low, high) = (scale.at_low().min(scale.at_high()), scale.at_low().max(scale.at_high()));
    if let Some(range) = range
        && (low < -1.0 || high > 1.0)
    {
        let found = format!("{low} and {high}");
        mistakes.tell(range.byte, "output.range", "a part of an axis, from -1 to 1 at most", found);
    }
    Some(OutputConfig::Axis { device, axes: axes?, declared: Vec::new(), scale })
}

fn datagram(
    table: &OutputFile,
    byte: usize,
    names: &Names<'_>,
    mistakes: &Mistakes<'_>,
) -> Option<OutputConfig> {
    let OutputFile { kind: _, device, axes, range, reversed, .. } = table;
    let OutputFile { to, template, trims, prefix, layout, min_interval_ms, keep_alive_ms, .. } = table;
    mistakes.foreign(device, "output.device", "kind = \"axis\" or \"steps\"", DATAGRAM);
    mistakes.foreign(axes, "output.axes", AXIS, DATAGRAM);
    tell_steps_keys(table, DATAGRAM, mistakes);
    let to = mistakes.required(to, byte, "output.to").cloned();
    let scale = scale(range, reversed, Scale::UNIT, "output", mistakes);
    let named = || match trims {
        None => names.all(),
        Some(_) => chosen_trims(trims, names, mistakes),
    };
    let Some(name) = optional(template) else {
        // Only whether they are needed is unknown.
        let _: Option<Vec<_>> = named();
        return None;
    };
    let name = name.copied().unwrap_or(TemplateName::Json);
    const OSC: &str = "template = \"osc\"";
    const LAYOUT: &str = "template = \"layout\"";
    const OTHER: &str = "another template";
    if name != TemplateName::Osc {
        mistakes.foreign(prefix, "output.prefix", OSC, OTHER);
    }
    if name == TemplateName::Layout {
        mistakes.foreign(trims, "output.trims", OTHER, LAYOUT);
    } else {
        mistakes.foreign(layout, "output.layout", LAYOUT, OTHER);
    }
    let (template, trims) = match name {
        TemplateName::Json => (Template::Json, named()),
        TemplateName::Line => (Template::Line, named()),
        TemplateName::Packed => (Template::Packed, named()),
        TemplateName::Osc => {
            let prefix = optional(prefix)?.map_or(Template::OSC_PREFIX, |OscPrefix(prefix)| prefix);
            (Template::Osc { prefix: prefix.to_owned() }, named())
        }
        TemplateName::Layout => {
            // Each field has a scale of its own, and this is only the usual one.
            let fields = layout::check::all(layout, byte, scale.unwrap_or_default(), names, mistakes)?;
            (Template::Layout(fields), Some(Vec::new()))
        }
    };
    let min_interval = optional(min_interval_ms)?.map_or(Duration::ZERO, |interval| interval.get());
    let keep_alive = optional(keep_alive_ms)?.map(|every| every.get());
    if let (Some(field), Some(every)) = (keep_alive_ms, keep_alive)
        && every < min_interval
    {
        let expected = format!("at least `min_interval_ms`, {}", min_interval.as_millis());
        mistakes.tell(field.byte, "output.keep_alive_ms", expected, every.as_millis().to_string());
    }
    let (to, trims, scale) = (to?, trims?, scale?);
    Some(OutputConfig::Datagram(DatagramConfig { to, template, trims, scale, min_interval, keep_alive }))
}

fn default_axes(
    byte: usize,
    names: &Names<'_>,
    mistakes: &Mistakes<'_>,
) -> Option<Vec<(TrimIndex, AxisCode)>> {
    let (trims, most) = (names.len(), AxisCode::ALL.len());
    if trims > most {
        let expected = format!("the key `axes`, because a joystick has {most} axes for {trims} trims");
        mistakes.tell(byte, "output.axes", expected, "nothing");
        return None;
    }
    Some(names.indices()?.into_iter().zip(AxisCode::ALL).collect())
}

fn chosen_axes(
    axes: &Map<AxisCode>,
    names: &Names<'_>,
    mistakes: &Mistakes<'_>,
) -> Option<Vec<(TrimIndex, AxisCode)>> {
    let field = axes.as_ref()?;
    let table = field.value.as_ref()?;
    if table.is_empty() {
        mistakes.tell(field.byte, "output.axes", "at least one trim and its axis", "an empty table");
    }
    // In the order of the file, so that of two trims on one axis the second is told.
    let mut entries: Vec<_> = table.iter().collect();
    entries.sort_by_key(|(name, _)| name.span().start);
    let mut chosen: Vec<(TrimIndex, AxisCode)> = Vec::new();
    let mut complete = true;
    for (name, axis_field) in entries {
        let path = format!("output.axes.{}", words::bare(name.get_ref()));
        let trim = names.find(name.get_ref(), name.span().start, &path, "a [[trim]]", mistakes);
        let axis = axis_field.setting().copied();
        if let Some(axis) = axis
            && chosen.iter().any(|(_, other)| *other == axis)
        {
            mistakes.tell(
                axis_field.byte,
                path,
                "an axis that no other trim has",
                words::quoted(axis.name()),
            );
        }
        match (trim.and_then(trim_index), axis) {
            (Some(trim), Some(axis)) => chosen.push((trim, axis)),
            _ => complete = false,
        }
    }
    chosen.sort_by_key(|(trim, _)| *trim);
    complete.then_some(chosen)
}

fn chosen_trims(
    trims: &List<Name>,
    names: &Names<'_>,
    mistakes: &Mistakes<'_>,
) -> Option<Vec<(TrimIndex, String)>> {
    const PATH: &str = "output.trims";
    let field = trims.as_ref()?;
    let list = field.value.as_ref()?;
    if list.is_empty() {
        mistakes.tell(field.byte, PATH, "at least one trim", "an empty list");
    }
    let mut chosen: Vec<(TrimIndex, String)> = Vec::new();
    let mut complete = true;
    for element in list {
        let Some(name) = element.setting() else {
            complete = false;
            continue;
        };
        match names.find(&name.0, element.byte, PATH, "a [[trim]]", mistakes).and_then(trim_index) {
            Some(trim) if chosen.iter().any(|(other, _)| *other == trim) => {
                mistakes.tell(
                    element.byte,
                    PATH,
                    "each trim once",
                    format!("{} again", words::quoted(&name.0)),
                );
            }
            Some(trim) => chosen.push((trim, name.0.clone())),
            None => complete = false,
        }
    }
    complete.then_some(chosen)
}

/// Two joysticks of one name could not be told apart.
fn tell_same_device(outputs: &[Option<OutputConfig>], tables: &[Field<OutputFile>], mistakes: &Mistakes<'_>) {
    // Those without a name differ by kind.
    let mut seen: Vec<(&Option<DeviceName>, bool)> = Vec::new();
    for (output, field) in outputs.iter().zip(tables) {
        let (device, pressed) = match output {
            Some(OutputConfig::Axis { device, .. }) => (device, false),
            Some(OutputConfig::Steps { device, .. }) => (device, true),
            _ => continue,
        };
        if seen.iter().any(|(other, kind)| *other == device && (device.is_some() || *kind == pressed)) {
            let found = match device {
                Some(name) => words::quoted(name.as_str()),
                None => "another joystick without one".to_owned(),
            };
            mistakes.tell(field.byte, "output.device", "a name for each virtual joystick", found);
        }
        seen.push((device, pressed));
    }
}

/// There is one keyboard, so a key of two outputs would mean two things.
fn tell_same_key(outputs: &[Option<OutputConfig>], tables: &[Field<OutputFile>], mistakes: &Mistakes<'_>) {
    let mut seen: Vec<KeyPlace> = Vec::new();
    for (output, field) in outputs.iter().zip(tables) {
        let Some(OutputConfig::Keys { trims, .. }) = output else { continue };
        for key in trims.iter().flat_map(|trim| [trim.low, trim.high]) {
            if seen.contains(&key) {
                let expected = "keys that no other output has";
                mistakes.tell(field.byte, "output.low_keys", expected, words::quoted(key.name()));
            }
            seen.push(key);
        }
    }
}
