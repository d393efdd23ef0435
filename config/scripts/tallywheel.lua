#!/usr/bin/env lua
-- Takes trims from Tallywheel and tells it the simulator's own: a start for a script of your own.
--
--     lua tallywheel.lua [TAKE_PORT [REPORT_PORT]] [NAME=POSITION ...] [title=TITLE]
--
-- It needs Lua 5.1 or newer with LuaSocket. TAKE_PORT is the port of the aircraft file's `to` (47811), REPORT_PORT that
-- of `listen` under `[simulator]` in rig.toml (47820). For simulators only, never for real aircraft.
-- Replace the part between the two lines of equals signs by your simulator's own calls; the rest may stay.
local socket = require("socket")

-- ======================================== your simulator's own calls go here ========================================
-- A pretend simulator: it knows only the trims that the command line names, prints what it is given and keeps it.
local numbers, trims, title = {}, {}, nil
for _, word in ipairs(arg or {}) do
    local name, value = word:match("^([^=]*)=(.*)$")
    if not name then numbers[#numbers + 1] = tonumber(word)
    elseif name == "title" then title = value
    else trims[name] = tonumber(value) end
end

-- Moves the simulator's trim; -1 is its low end, 0 neutral, 1 its high end. `margin` is how many counts the position
-- may be off below and above, nil if it is not known at all.
local function set_trim(name, position, margin)
    trims[name] = position
    io.write(string.format("%s %.17g\n", name, position))
    io.flush()
end

-- The simulator's trims by their names in the aircraft file, each from -1 to 1; {} if it cannot tell.
local function get_trims() return trims end

-- The title of the aircraft that is loaded, or nil.
local function get_title() return title end
-- =====================================================================================================================

local TAKE_PORT, REPORT_PORT = numbers[1] or 47811, numbers[2] or 47820
local REPORT_EVERY = 0.5 -- seconds

-- Lua has no JSON of its own. These read what Tallywheel sends (RFC 8259; a \u escape of a name stays as it is) and
-- write a text for it.
local read_value
local function skip(text, at) return text:find("[^ \t\r\n]", at) or #text + 1 end
local function read_text(text, at)
    local parts, from = {}, at + 1
    while true do
        local stop = text:find('["\\]', from)
        if not stop then error("a text does not end") end
        parts[#parts + 1] = text:sub(from, stop - 1)
        if text:sub(stop, stop) == '"' then return table.concat(parts), stop + 1 end
        local escaped = text:sub(stop + 1, stop + 1)
        local plain = ({ n = "\n", t = "\t", r = "\r", b = "\b", f = "\f", u = "\\u" })[escaped]
        parts[#parts + 1] = plain or escaped
        from = stop + 2
    end
end
local function read_list(text, at, stop, each)
    at = skip(text, at + 1)
    while text:sub(at, at) ~= stop do
        at = skip(text, each(at))
        local sign = text:sub(at, at)
        if sign == "," then at = skip(text, at + 1) elseif sign ~= stop then error("expected , or " .. stop) end
    end
    return at + 1
end
function read_value(text, at)
    local sign = text:sub(at, at)
    if sign == '"' then return read_text(text, at) end
    local result = {}
    if sign == "{" then
        return result, read_list(text, at, "}", function(place)
            local name, after = read_text(text, place)
            after = skip(text, after)
            if text:sub(after, after) ~= ":" then error("expected :") end
            result[name], after = read_value(text, skip(text, after + 1))
            return after
        end)
    elseif sign == "[" then
        return result, read_list(text, at, "]", function(place)
            local value, after = read_value(text, place)
            result[#result + 1] = value
            return after
        end)
    end
    local word = text:match("^[%w%.%+%-]+", at) or error("expected a value")
    if word == "null" then return nil, at + 4 end
    if word == "true" or word == "false" then return word == "true", at + #word end
    return tonumber(word) or error("expected a number"), at + #word
end
local function quoted(text)
    return '"' .. text:gsub('[%c"\\]', function(c) return string.format("\\u%04x", c:byte()) end) .. '"'
end

local take = assert(socket.udp())
assert(take:setsockname("127.0.0.1", TAKE_PORT))
local report = assert(socket.udp())
-- Another session each time this script starts, so that Tallywheel begins anew with it.
math.randomseed(math.floor(socket.gettime() * 1e6) % 2 ^ 31)
local session = string.format("%x-%d", math.floor(socket.gettime() * 1000) % 2 ^ 31, math.random(0, 2 ^ 30))
local sequence = 0
-- The time of the newest datagram: what comes late or twice is older and does nothing.
local newest = 0
local due = socket.gettime()

while true do
    take:settimeout(math.max(due - socket.gettime(), 0.001))
    local bytes = take:receive()
    if bytes then
        local understood, frame = pcall(read_value, bytes, 1)
        if not understood or type(frame) ~= "table" or type(frame.trims) ~= "table" or type(frame.time_us) ~= "number" then
            io.stderr:write("not a datagram of Tallywheel's\n")
        elseif frame.time_us > newest then
            newest = frame.time_us
            for name, trim in pairs(frame.trims) do set_trim(name, trim.position, trim.margin) end
        end
    end
    if socket.gettime() >= due or due - socket.gettime() > REPORT_EVERY then
        due = socket.gettime() + REPORT_EVERY
        sequence = sequence + 1
        local values = {}
        for name, position in pairs(get_trims()) do
            values[#values + 1] = quoted(name) .. ":" .. string.format("%.17g", position)
        end
        local message = string.format('{"tallywheel":1,"session":"%s","sequence":%d,"trims":{%s}', session, sequence,
            table.concat(values, ","))
        if get_title() then message = message .. ',"title":' .. quoted(get_title()) end
        report:sendto(message .. "}", "127.0.0.1", REPORT_PORT)
    end
end
