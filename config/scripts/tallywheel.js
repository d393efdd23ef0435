#!/usr/bin/env node
// Takes trims from Tallywheel and tells it the simulator's own: a start for a script of your own.
//
//     node tallywheel.js [TAKE_PORT [REPORT_PORT]] [NAME=POSITION ...] [title=TITLE]
//
// It needs Node 12 or newer and nothing else. TAKE_PORT is the port of the aircraft file's `to` (47811), REPORT_PORT
// that of `listen` under `[simulator]` in rig.toml (47820). For simulators only, never for real aircraft.
// Replace the part between the two lines of equals signs by your simulator's own calls; the rest may stay.
"use strict";
const dgram = require("dgram");
const crypto = require("crypto");

// ======================================== your simulator's own calls go here ========================================
// A pretend simulator: it knows only the trims that the command line names, prints what it is given and keeps it.
const words = process.argv.slice(2);
const numbers = words.filter((word) => !word.includes("=")).map(Number);
const trims = new Map();
let title = null;
for (const word of words.filter((word) => word.includes("="))) {
    const [name, value] = [word.slice(0, word.indexOf("=")), word.slice(word.indexOf("=") + 1)];
    if (name === "title") title = value;
    else trims.set(name, Number(value));
}

// Moves the simulator's trim; -1 is its low end, 0 neutral, 1 its high end. `margin` is how many counts the position
// may be off below and above, null if it is not known at all.
function setTrim(name, position, margin) {
    trims.set(name, position);
    process.stdout.write(`${name} ${position}\n`);
}

// The simulator's trims by their names in the aircraft file, each from -1 to 1; {} if it cannot tell.
function getTrims() {
    return Object.fromEntries(trims);
}

// The title of the aircraft that is loaded, or null.
function getTitle() {
    return title;
}
// =====================================================================================================================

const TAKE_PORT = numbers[0] || 47811;
const REPORT_PORT = numbers[1] || 47820;
const REPORT_EVERY_MS = 500;

const take = dgram.createSocket("udp4");
const report = dgram.createSocket("udp4");
// Another session each time this script starts, so that Tallywheel begins anew with it.
const session = crypto.randomBytes(8).toString("hex");
let sequence = 0;
// The time of the newest datagram: what comes late or twice is older and does nothing.
let newest = 0;

take.on("message", (bytes) => {
    let frame;
    try {
        frame = JSON.parse(bytes.toString("utf8"));
    } catch (error) {
        console.error("not a datagram of Tallywheel's:", error.message);
        return;
    }
    if (!frame || typeof frame.trims !== "object" || !(frame.time_us > newest)) return;
    newest = frame.time_us;
    for (const [name, trim] of Object.entries(frame.trims)) setTrim(name, trim.position, trim.margin);
});
take.bind(TAKE_PORT, "127.0.0.1");

// Where Tallywheel does not run, the next report may reach it.
report.on("error", () => {});
function reportTrims() {
    sequence += 1;
    const message = { tallywheel: 1, session, sequence, trims: getTrims() };
    if (getTitle() !== null) message.title = getTitle();
    report.send(JSON.stringify(message), REPORT_PORT, "127.0.0.1", () => {});
}
reportTrims();
setInterval(reportTrims, REPORT_EVERY_MS);
