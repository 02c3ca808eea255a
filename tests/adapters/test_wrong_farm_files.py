"""Wrong farm files, the exact message of each, and the folder untouched afterwards.

Each case changes one place of one right file. The words after "not valid TOML:" are those of the
standard library.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from scheduler.adapters.farmfile import check_farm, read_farm
from scheduler.errors import FarmFileError

CROPS = ("beet", "carrot", "lettuce", "snap bean")

RIGHT = """\
[farm]
name = "Long Acre"
units = "us"

[place]
latitude = "40.78 deg N"
longitude = "73.97 deg W"
elevation = "12 ft"
time_zone = "America/New_York"

[work]
start = "06:00"
end = "20:00"
hours = { mon = "3 h", tue = "2 h", sat = "4 h" }
blocked = [{ day = "tue", from = "07:00", to = "12:00", why = "market harvest" }]

[soils.river]
texture = "sandy loam"

[soils.silt]
texture = "silt loam"
organic_matter = "3.5 %"

[defaults.bed]
width = "30 in"
irrigation = "drip"

[[beds]]
range = "A1-A12"
length = "60 ft"
soil = "silt"

[[beds]]
names = ["B1", "B2"]
length = "100 ft"
soil = "river"

[tools.tines]
kind = "tine weeder"
depth = "0.6 in"
speed = "3 km/h"
rows = [1, 2, 3]

[tools.bar]
kind = "knives"
depth = "1 in"
speed = "3 km/h"
rows = [1, 2]
row_spacings = ["10 in", "15 in"]
carries = ["finger weeder"]
setups = [{ name = "two", rows = 2, spacing = "15 in" }]

[[plans]]
bed = "A7"
crop = "carrot"
sow = 2013-05-20

[[plans]]
range = "B1-B2"
crop = "lettuce"
set = 2013-06-01

[cautions]
heat_bands = ["80 F", "90 F", "103 F", "125 F"]
sun_allowance = "7 F"
"""

# name of the case, the text of RIGHT that is replaced, what stands there instead, the messages
WRONG: tuple[tuple[str, str, str, tuple[str, ...]], ...] = (
    (
        "no quotes",
        'name = "Long Acre"',
        "name = Long Acre",
        (
            "farm.toml line 2, column 8: not valid TOML: Invalid value; text takes "
            'quotes around it, such as name = "Long Acre"',
        ),
    ),
    (
        "open bracket",
        "[tools.tines]",
        "[tools.tines",
        (
            "farm.toml line 38, column 13: not valid TOML: Expected ']' at the end "
            "of a table declaration",
        ),
    ),
    (
        "key twice",
        "rows = [1, 2, 3]",
        "rows = 1\nrows = 2",
        (
            "farm.toml line 43, column 9: not valid TOML: Cannot overwrite a value; "
            "a key stands once in its table",
        ),
    ),
    (
        "unknown table",
        "[tools.tines]",
        "[tool.tines]",
        (
            "farm.toml line 38, [tool]: unknown table; allowed: farm, place, work, "
            'soils, defaults, beds, tools, plans, cautions, mail, weather; nearest: "tools"',
        ),
    ),
    (
        "unknown key",
        'length = "60 ft"',
        'lenght = "60 ft"',
        (
            "farm.toml line 30, [[beds]] 1 (A1-A12) lenght: unknown key; allowed: "
            "length, width, soil, irrigation, headland, ends, was, name, names, "
            'range; nearest: "length"',
        ),
    ),
    (
        "unknown unit",
        '"60 ft"',
        '"60 fet"',
        (
            'farm.toml line 30, [[beds]] 1 (A1-A12) length: "60 fet" has an unknown '
            'unit; allowed units: mm, cm, m, in, ft, yd; nearest: "feet"',
        ),
    ),
    (
        "mass as length",
        '"60 ft"',
        '"60 kg"',
        (
            'farm.toml line 30, [[beds]] 1 (A1-A12) length: "60 kg" is a mass, not a '
            "length; allowed units: mm, cm, m, in, ft, yd",
        ),
    ),
    (
        "no unit",
        '"60 ft"',
        "60",
        (
            "farm.toml line 30, [[beds]] 1 (A1-A12) length: 60 has no unit; write a "
            'length such as "60 ft" or "18 m", in quotes',
        ),
    ),
    (
        "bare text",
        '"60 ft"',
        '"60"',
        (
            'farm.toml line 30, [[beds]] 1 (A1-A12) length: "60" has no unit; write '
            'a length such as "60 ft" or "18 m"',
        ),
    ),
    (
        "comma",
        '"0.6 in"',
        '"0,6 in"',
        (
            'farm.toml line 40, [tools.tines] depth: "0,6 in" is not a number with a '
            'unit; write a length such as "60 ft" or "18 m"; a decimal takes a '
            "point, not a comma",
        ),
    ),
    (
        "zero length",
        '"60 ft"',
        '"0 ft"',
        (
            'farm.toml line 30, [[beds]] 1 (A1-A12) length: "0 ft" is out of range; '
            "allowed: 0.5 m to 1000 m (1.6 ft to 3281 ft)",
        ),
    ),
    (
        "negative",
        '"30 in"',
        '"-30 in"',
        (
            'farm.toml line 25, [defaults.bed] width: "-30 in" is out of range; '
            "allowed: 10 cm to 50 m (3.9 in to 164 ft)",
        ),
    ),
    (
        "latitude",
        "40.78 deg N",
        "140.78 deg N",
        (
            'farm.toml line 6, [place] latitude: "140.78 deg N" is out of range; a '
            "latitude lies between -90 and 90 degrees",
        ),
    ),
    (
        "longitude swapped",
        "73.97 deg W",
        "73.97 deg N",
        (
            'farm.toml line 7, [place] longitude: "73.97 deg N" is not a longitude; '
            'write decimal degrees such as "73.97 deg W" or "-73.97"',
        ),
    ),
    (
        "time zone",
        "America/New_York",
        "America/Newyork",
        (
            'farm.toml line 9, [place] time_zone: "America/Newyork" is not a time '
            'zone; allowed: an area and a city, such as "America/New_York" or '
            '"Europe/Paris"; nearest: "America/New_York"',
        ),
    ),
    (
        "time zone city",
        "America/New_York",
        "Berlin",
        (
            'farm.toml line 9, [place] time_zone: "Berlin" is not a time zone; '
            'allowed: an area and a city, such as "America/New_York" or '
            '"Europe/Paris"; nearest: "Europe/Berlin"',
        ),
    ),
    (
        "weekday",
        'tue = "2 h"',
        'tues = "2 h"',
        (
            "farm.toml line 14, [work] hours.tues: unknown key; allowed: mon, tue, "
            'wed, thu, fri, sat, sun; nearest: "tue"',
        ),
    ),
    (
        "hours",
        '"2 h"',
        '"26 h"',
        ('farm.toml line 14, [work] hours.tue: "26 h" is out of range; allowed: 0 h to 24 h',),
    ),
    (
        "blocked backwards",
        'to = "12:00"',
        'to = "06:00"',
        (
            "farm.toml line 15, [work] blocked[1].to: 06:00 is not after from 07:00; "
            "blocked hours end after they start, on the same day",
        ),
    ),
    (
        "clock",
        'start = "06:00"',
        'start = "6 am"',
        ('farm.toml line 12, [work] start: "6 am" is not a time of day; write such as "06:00"',),
    ),
    (
        "texture",
        '"silt loam"',
        '"slit loam"',
        (
            'farm.toml line 21, [soils.silt] texture: "slit loam" is not one of the '
            "words allowed here; allowed: sand, loamy sand, sandy loam, loam, silt "
            "loam, silt, sandy clay loam, clay loam, silty clay loam, sandy clay, "
            'silty clay, clay; nearest: "silt loam"',
        ),
    ),
    (
        "hand test",
        'texture = "silt loam"',
        'hand_test = "short ribbon"',
        (
            'farm.toml line 21, [soils.silt] hand_test: "short ribbon" does not tell '
            'how the soil feels; write "no ball", "no ribbon", or how long a ribbon '
            'gets and how it feels, such as "ribbon 1.5 in, smooth" (short under 1 '
            "in, medium, long over 2 in; gritty, smooth, neither)",
        ),
    ),
    (
        "fractions",
        'texture = "silt loam"',
        'sand = "20 %"\nsilt = "50 %"\nclay = "20 %"',
        (
            "farm.toml line 20, [soils.silt]: sand, silt and clay make 90 %; "
            "allowed: 98 % to 102 % together",
        ),
    ),
    (
        "one fraction",
        'texture = "silt loam"',
        'sand = "20 %"',
        (
            "farm.toml line 21, [soils.silt] sand: sand stands alone; give two of "
            "sand, silt and clay, or a texture word instead",
        ),
    ),
    (
        "no texture",
        'texture = "silt loam"\n',
        "",
        (
            "farm.toml line 20, [soils.silt]: no texture; add texture (a word), "
            'hand_test, or two of sand, silt and clay, such as texture = "silt loam"',
        ),
    ),
    (
        "organic",
        "3.5 %",
        "35 %",
        (
            'farm.toml line 22, [soils.silt] organic_matter: "35 %" is out of range; '
            "allowed: 0 % to 30 %",
        ),
    ),
    (
        "unknown soil",
        'soil = "river"',
        'soil = "rivr"',
        (
            'farm.toml line 36, [[beds]] 2 (B1, B2) soil: "rivr" is not a soil of '
            'this farm; allowed: river, silt; nearest: "river"',
        ),
    ),
    (
        "no soil",
        'soil = "river"\n',
        "",
        (
            "farm.toml line 33, [[beds]] 2 (B1, B2): soil is missing; add soil = "
            '"river", here or in [defaults.bed]',
        ),
    ),
    (
        "bed twice",
        '["B1", "B2"]',
        '["a3", "B2"]',
        (
            'farm.toml line 33, [[beds]] 2 (a3, B2): the bed "a3" is already in bed '
            "group 1; each bed stands once, whatever its letter case",
        ),
    ),
    (
        "two namings",
        'names = ["B1", "B2"]',
        'name="B1"\nnames = ["B1", "B2"]',
        (
            "farm.toml line 33, [[beds]] 2 (B1): found name and names; give one of "
            'name, names or range, such as name = "A1" or range = "A1-A12"',
        ),
    ),
    (
        "range backwards",
        "A1-A12",
        "A12-A1",
        (
            'farm.toml line 29, [[beds]] 1 (A12-A1) range: "A12-A1" runs backwards; '
            'write such as "A1-A12": the same letters, then numbers that rise',
        ),
    ),
    (
        "slash",
        '"B1"',
        '"B/1"',
        (
            'farm.toml line 34, [[beds]] 2 (B/1, B2) names: "B/1" holds a slash, '
            "which is kept for parts of beds; allowed: letters, digits, spaces and "
            "the like",
        ),
    ),
    (
        "irrigation",
        '"drip"',
        '"dripp"',
        (
            'farm.toml line 26, [defaults.bed] irrigation: "dripp" is not one of the '
            'words allowed here; allowed: none, drip, sprinkler; nearest: "drip"',
        ),
    ),
    (
        "tool kind",
        '"tine weeder"',
        '"tine weder"',
        (
            'farm.toml line 39, [tools.tines] kind: "tine weder" is not one of the '
            "words allowed here; allowed: tine weeder, spike harrow, rotary hoe, "
            "finger weeder, torsion weeder, brush weeder, sweeps, knives, hilling, "
            'wheel hoe, stirrup hoe, collinear hoe, flame, hand; nearest: "tine '
            'weeder"',
        ),
    ),
    (
        "tool no depth",
        'depth = "0.6 in"\n',
        "",
        ('farm.toml line 38, [tools.tines] depth: missing; add depth = "0.6 in" or "15 mm"',),
    ),
    (
        "rows",
        "[1, 2, 3]",
        '[1, "two"]',
        (
            'farm.toml line 42, [tools.tines] rows: "two" is not a whole number; '
            "allowed: 1 to 20 rows",
        ),
    ),
    (
        "no place",
        '[place]\nlatitude = "40.78 deg N"\nlongitude = "73.97 deg W"\nelevation = "12 ft"\n'
        'time_zone = "America/New_York"\n',
        "",
        (
            "farm.toml, [place]: missing; add the table [place] with latitude, "
            "longitude, elevation, time_zone",
        ),
    ),
    (
        "units",
        'units = "us"',
        'units = "imperial"',
        (
            'farm.toml line 3, [farm] units: "imperial" is not one of the words '
            "allowed here; allowed: metric, us",
        ),
    ),
    (
        "seed",
        'units = "us"',
        'seed = "seven"',
        (
            'farm.toml line 3, [farm] seed: "seven" is not a whole number; allowed: '
            "0 to 9223372036854775807",
        ),
    ),
    (
        "price",
        'start = "06:00"',
        "machine_price = 0",
        ("farm.toml line 12, [work] machine_price: 0 is out of range; allowed: 0.01 to 100",),
    ),
    (
        "name newline",
        '"Long Acre"',
        '"Long\\nAcre"',
        (
            'farm.toml line 2, [farm] name: "Long\\u000aAcre" holds a control '
            "character; allowed: one line of plain text",
        ),
    ),
    (
        "password",
        "[tools.tines]",
        '[mail]\nto = "grower@example.org"\npassword = "hunter2"\n\n[tools.tines]',
        (
            "farm.toml line 40, [mail] password: a password does not belong in this "
            'file; remove it and name where it is kept: password_env = "NAME OF A '
            'VARIABLE" or password_file = "PATH"',
        ),
    ),
    (
        "mail key",
        "[tools.tines]",
        '[mail]\nsent_at = "05:30"\nport = 70000\n\n[tools.tines]',
        (
            "farm.toml line 39, [mail] sent_at: unknown key; allowed: to, from, "
            "reply_to, host, port, security, user, password_env, password_file, "
            "ca_file, send_at, cut_off, evening_note, contact, subject; nearest: "
            '"send_at"',
            "farm.toml line 40, [mail] port: 70000 is out of range; allowed: 1 to 65535",
        ),
    ),
    (
        "weather key",
        "[tools.tines]",
        "[weather]\nconsnet = true\n\n[tools.tines]",
        (
            "farm.toml line 39, [weather] consnet: unknown key; allowed: station, "
            "rain_station, forecast, consent, contact, past_years, "
            'gauge_read_at; nearest: "consent"',
        ),
    ),
    (
        "consent",
        "[tools.tines]",
        '[weather]\nconsent = "yes"\n\n[tools.tines]',
        ('farm.toml line 39, [weather] consent: "yes" is not yes or no; allowed: true, false',),
    ),
    (
        "weather values",
        "[tools.tines]",
        '[weather]\nstation = 10637\nrain_station = "New York"\nforecast = "met.no"\n'
        'contact = "grower"\npast_years = "ten"\n\n[tools.tines]',
        (
            "farm.toml line 39, [weather] station: 10637 is not text; write it in quotes",
            'farm.toml line 40, [weather] rain_station: "New York" is not the name of a weather '
            'station; allowed: 3 to 10 letters and digits, such as "72503"',
            'farm.toml line 41, [weather] forecast: "met.no" is not one of the words allowed here; '
            'allowed: metno, nws, openmeteo, none; nearest: "metno"',
            'farm.toml line 42, [weather] contact: "grower" is not a mail address; write such as '
            '"grower@example.org"',
            'farm.toml line 43, [weather] past_years: "ten" is not a whole number; allowed: 0 to '
            "80 years",
        ),
    ),
    (
        "weather contact",
        "[tools.tines]",
        '[weather]\nstation = ["A", "B"]\nforecast = true\ncontact = "Ann <a@example.org>"\n\n'
        "[tools.tines]",
        (
            "farm.toml line 39, [weather] station: a list is not text; write it in quotes",
            "farm.toml line 40, [weather] forecast: true is not one of the words allowed here; "
            "allowed: metno, nws, openmeteo, none",
            'farm.toml line 41, [weather] contact: "Ann <a@example.org>" cannot be sent with a '
            'request; write the plain mail address, such as "grower@example.org"',
        ),
    ),
    (
        "setups",
        "rows = [1, 2, 3]",
        'setups = [{ note = "x" }]',
        (
            "farm.toml line 42, [tools.tines] setups[1].name: missing; add name = "
            '"carrots, three rows"',
        ),
    ),
    (
        "setup table",
        "rows = [1, 2, 3]",
        'setups = "x"',
        (
            'farm.toml line 42, [tools.tines] setups: "x" is not a list; write such '
            "as [{ ... }, { ... }]",
        ),
    ),
    (
        "defaults",
        "[defaults.bed]",
        "[defaults.beds]",
        ('farm.toml line 24, [defaults.beds]: unknown table; allowed: bed; nearest: "bed"',),
    ),
    (
        "missing time zone",
        'time_zone = "America/New_York"\n',
        "",
        ('farm.toml line 5, [place] time_zone: missing; add time_zone = "America/New_York"',),
    ),
    (
        "blocked missing",
        'day = "tue", ',
        "",
        ('farm.toml line 15, [work] blocked[1].day: missing; add day = "tue"',),
    ),
    (
        "hours text",
        '{ mon = "3 h", tue = "2 h", sat = "4 h" }',
        '"3 hurs"',
        (
            'farm.toml line 14, [work] hours: "3 hurs" has an unknown unit; allowed '
            'units: s, min, h, d; nearest: "hours"',
        ),
    ),
    (
        "hours num",
        '{ mon = "3 h", tue = "2 h", sat = "4 h" }',
        "3",
        (
            "farm.toml line 14, [work] hours: 3 is not a table; write such as hours "
            '= { mon = "3 h", thu = "2 h" }',
        ),
    ),
    (
        "empty beds",
        '["B1", "B2"]',
        "[]",
        (
            "farm.toml line 34, [[beds]] 2 names: an empty list is not a list of bed "
            'names; write such as ["A1", "A2"]',
        ),
    ),
    (
        "soil number",
        'soil = "river"',
        "soil = 3",
        ("farm.toml line 36, [[beds]] 2 (B1, B2) soil: 3 is not text; write it in quotes",),
    ),
    (
        "two slips at once",
        'length = "60 ft"\nsoil = "silt"',
        'length = "60 kg"\nsoil = "slt"',
        (
            'farm.toml line 30, [[beds]] 1 (A1-A12) length: "60 kg" is a mass, not a '
            "length; allowed units: mm, cm, m, in, ft, yd",
            'farm.toml line 31, [[beds]] 1 (A1-A12) soil: "slt" is not a soil of '
            'this farm; allowed: river, silt; nearest: "silt"',
        ),
    ),
    (
        "table twice",
        "[soils.silt]",
        "[soils.river]",
        (
            "farm.toml line 20, column 13: not valid TOML: Cannot declare ('soils', "
            "'river') twice; a table stands once, except bed groups, which begin "
            "with [[beds]]",
        ),
    ),
    (
        "setup twice",
        "rows = [1, 2, 3]",
        'setups = [{ name = "wide" }, { name = "Wide" }]',
        (
            'farm.toml line 42, [tools.tines] setups: "Wide" is the name of two '
            "set-ups; give each its own name",
        ),
    ),
    (
        "speed as depth",
        '"3 km/h"',
        '"3 cm"',
        (
            'farm.toml line 41, [tools.tines] speed: "3 cm" is a length, not a '
            "speed; allowed units: km/h, m/s, mph, ft/min",
        ),
    ),
    (
        "two fractions too much",
        'texture = "silt loam"',
        'sand = "70 %"\nclay = "40 %"',
        (
            "farm.toml line 20, [soils.silt]: sand and clay make 110 %; allowed: up "
            "to 100 % together",
        ),
    ),
    (
        "hand test word",
        'texture = "silt loam"',
        'hand_test = ["short ribon", "smooth"]',
        (
            'farm.toml line 21, [soils.silt] hand_test: "short ribon" is no word of '
            'the hand test; write "no ball", "no ribbon", or how long a ribbon gets '
            'and how it feels, such as "ribbon 1.5 in, smooth" (short under 1 in, '
            'medium, long over 2 in; gritty, smooth, neither); nearest: "short '
            'ribbon"',
        ),
    ),
    (
        "bed range text",
        '"A1-A12"',
        '"A1 to A12"',
        (
            'farm.toml line 29, [[beds]] 1 (A1 to A12) range: "A1 to A12" is not a '
            'range of bed names; write such as "A1-A12": the same letters, then '
            "numbers that rise",
        ),
    ),
    (
        "mail address",
        "[tools.tines]",
        '[mail]\nto = ["grower@example.org", "grower at example.org"]\n\n[tools.tines]',
        (
            'farm.toml line 39, [mail] to: "grower at example.org" is not a mail '
            'address; write such as "grower@example.org"',
        ),
    ),
    (
        "soil same name",
        "[soils.silt]",
        "[soils.River]",
        (
            'farm.toml line 20, [soils.River]: the soil "river" has the same name; '
            "give each its own",
            'farm.toml line 31, [[beds]] 1 (A1-A12) soil: "silt" is not a soil of '
            "this farm; allowed: river, River",
        ),
    ),
    (
        "carried kind",
        '["finger weeder"]',
        '["finger weder"]',
        (
            'farm.toml line 50, [tools.bar] carries: "finger weder" does not share a '
            "toolbar; allowed: tine weeder, finger weeder, torsion weeder, brush weeder, "
            'sweeps, knives, hilling; nearest: "finger weeder"',
        ),
    ),
    (
        "carried flame",
        '["finger weeder"]',
        '["flame"]',
        (
            'farm.toml line 50, [tools.bar] carries: "flame" does not share a '
            "toolbar; allowed: tine weeder, finger weeder, torsion weeder, brush weeder, "
            "sweeps, knives, hilling",
        ),
    ),
    (
        "carried twice",
        '["finger weeder"]',
        '["finger weeder", "Finger weeder"]',
        (
            'farm.toml line 50, [tools.bar] carries: "Finger weeder" stands twice; '
            "name each kind once",
        ),
    ),
    (
        "carries itself",
        '["finger weeder"]',
        '"knives"',
        (
            'farm.toml line 50, [tools.bar] carries: "knives" is the kind of this tool '
            "already; name what it carries besides",
        ),
    ),
    (
        "carried by a hoe",
        'kind = "knives"',
        'kind = "wheel hoe"',
        (
            "farm.toml line 50, [tools.bar] carries: a wheel hoe carries no other tool; leave "
            "carries away, or give it a kind that shares a toolbar; allowed: tine weeder, "
            "finger weeder, torsion weeder, brush weeder, sweeps, knives, hilling",
        ),
    ),
    (
        "setup rows",
        "rows = 2,",
        'rows = "two",',
        (
            'farm.toml line 51, [tools.bar] setups[1].rows: "two" is not a whole number; '
            "allowed: 1 to 20 rows",
        ),
    ),
    (
        "setup rows the tool lacks",
        "rows = 2,",
        "rows = 3,",
        (
            "farm.toml line 51, [tools.bar] setups[1].rows: 3 is not among the rows of this "
            "tool; allowed: 1, 2; correct it or add it to rows",
        ),
    ),
    (
        "setup spacing without unit",
        'spacing = "15 in"',
        "spacing = 15",
        (
            "farm.toml line 51, [tools.bar] setups[1].spacing: 15 has no unit; write a "
            'length such as "60 ft" or "18 m", in quotes',
        ),
    ),
    (
        "setup spacing the tool lacks",
        'spacing = "15 in"',
        'spacing = "12 in"',
        (
            'farm.toml line 51, [tools.bar] setups[1].spacing: "12 in" is not among the '
            'row_spacings of this tool; allowed: "10 in", "15 in"; correct it or add it to '
            "row_spacings",
        ),
    ),
    (
        "setup key",
        "spacing =",
        "spacings =",
        (
            "farm.toml line 51, [tools.bar] setups[1].spacings: unknown key; allowed: name, "
            'note, rows, spacing; nearest: "spacing"',
        ),
    ),
    (
        "plan of an unknown bed",
        'bed = "A7"',
        'bed = "A77"',
        (
            'farm.toml line 53, [[plans]] 1 (A77): "A77" is not a bed of this farm; '
            'allowed: A1-A12, B1, B2; nearest: "A7"',
        ),
    ),
    (
        "plan beyond the range",
        '"B1-B2"',
        '"B2-B4"',
        (
            'farm.toml line 58, [[plans]] 2 (B2-B4): "B3" (and 1 more) is not a bed of this '
            "farm; allowed: A1-A12, B1, B2",
        ),
    ),
    (
        "plan without a bed",
        'bed = "A7"\n',
        "",
        (
            "farm.toml line 53, [[plans]] 1: found none of them; give one of bed, beds or "
            'range, such as bed = "A1" or range = "A1-A4"',
        ),
    ),
    (
        "plan of an unknown crop",
        '"lettuce"',
        '"letuce"',
        (
            'farm.toml line 60, [[plans]] 2 (B1-B2) crop: "letuce" is not a crop this program '
            'knows; allowed: beet, carrot, lettuce, snap bean; nearest: "lettuce"',
        ),
    ),
    (
        "plan without a crop",
        'crop = "carrot"\n',
        "",
        ('farm.toml line 53, [[plans]] 1 (A7) crop: missing; add crop = "carrot"',),
    ),
    (
        "plan sown and set",
        "set = 2013-06-01",
        "set = 2013-06-01\nsow = 2013-06-01",
        (
            "farm.toml line 58, [[plans]] 2 (B1-B2): found sow and set; give one of sow or "
            "set with its day, such as sow = 2013-05-20",
        ),
    ),
    (
        "plan without a day",
        "set = 2013-06-01\n",
        "",
        (
            "farm.toml line 58, [[plans]] 2 (B1-B2): found neither; give one of sow or "
            "set with its day, such as sow = 2013-05-20",
        ),
    ),
    (
        "plan day in words",
        "sow = 2013-05-20",
        'sow = "20 May"',
        (
            'farm.toml line 56, [[plans]] 1 (A7) sow: "20 May" is not a date; write such as '
            "2013-05-20",
        ),
    ),
    (
        "plan day of no month",
        "sow = 2013-05-20",
        'sow = "2013-05-32"',
        (
            'farm.toml line 56, [[plans]] 1 (A7) sow: "2013-05-32" is no day of the '
            "calendar; write such as 2013-05-20",
        ),
    ),
    (
        "plan day with an hour",
        "sow = 2013-05-20",
        "sow = 2013-05-20 10:00:00",
        (
            "farm.toml line 56, [[plans]] 1 (A7) sow: 2013-05-20 10:00:00 carries a time of "
            "day; write such as 2013-05-20",
        ),
    ),
    (
        "plan day of another age",
        "sow = 2013-05-20",
        "sow = 0213-05-20",
        (
            'farm.toml line 56, [[plans]] 1 (A7) sow: "0213-05-20" is out of range; '
            "allowed: 1900-01-01 to 2200-12-31",
        ),
    ),
    (
        "two plans of a bed and day",
        '"B1-B2"\ncrop = "lettuce"\nset = 2013-06-01',
        '"A6-A7"\ncrop = "lettuce"\nset = 2013-05-20',
        (
            'farm.toml line 58, [[plans]] 2 (A6-A7): the bed "A7" has a plan for 2013-05-20 '
            "already, in plan 1; a bed has one plan a day",
        ),
    ),
    (
        "plan key",
        "sow =",
        "sown =",
        (
            "farm.toml line 56, [[plans]] 1 (A7) sown: unknown key; allowed: bed, beds, "
            'range, crop, sow, set; nearest: "sow"',
        ),
    ),
    (
        "plans as one table",
        '[[plans]]\nbed = "A7"\ncrop = "carrot"\nsow = 2013-05-20\n\n'
        '[[plans]]\nrange = "B1-B2"\ncrop = "lettuce"\nset = 2013-06-01',
        '[plans]\nbed = "A7"',
        ("farm.toml line 53, [plans]: plans are written as tables, each below a header [[plans]]",),
    ),
    (
        "three bands",
        ', "125 F"',
        "",
        (
            "farm.toml line 64, [cautions] heat_bands: found 3 of them; allowed: 4 "
            'temperatures, one for each band; write such as ["80 F", "90 F", "103 F", "125 F"]',
        ),
    ),
    (
        "bands that fall",
        '"103 F"',
        '"32 C"',
        (
            'farm.toml line 64, [cautions] heat_bands: "32 C" does not lie above the band '
            "before it; allowed: temperatures that rise; write such as "
            '["80 F", "90 F", "103 F", "125 F"]',
        ),
    ),
    (
        "band without unit",
        '"80 F"',
        "80",
        (
            "farm.toml line 64, [cautions] heat_bands: 80 has no unit; write a temperature "
            'such as "64 F" or "18 C", in quotes',
        ),
    ),
    (
        "band too hot",
        '"125 F"',
        '"525 F"',
        (
            'farm.toml line 64, [cautions] heat_bands: "525 F" is out of range; allowed: '
            "10 C to 80 C (50 F to 176 F)",
        ),
    ),
    (
        "sun allowance",
        '"7 F"',
        '"70 F"',
        (
            'farm.toml line 65, [cautions] sun_allowance: "70 F" is out of range; allowed: '
            "0 C to 15 C (0 F to 27 F)",
        ),
    ),
    (
        "caution key",
        "sun_allowance",
        "sun_alowance",
        (
            "farm.toml line 65, [cautions] sun_alowance: unknown key; allowed: heat_bands, "
            'sun_allowance; nearest: "sun_allowance"',
        ),
    ),
    (
        "ends",
        'width = "30 in"',
        'width = "30 in"\nends = "blocked"',
        (
            'farm.toml line 26, [defaults.bed] ends: "blocked" is not one of the '
            "words allowed here; allowed: open, one blocked, both blocked; nearest: "
            '"one blocked"',
        ),
    ),
)


def _snapshot(folder: Path) -> dict[str, tuple[bytes, int]]:
    return {
        str(path.relative_to(folder)): (
            path.read_bytes() if path.is_file() else b"",
            path.stat().st_mtime_ns,
        )
        for path in [folder, *sorted(folder.rglob("*"))]
    }


def _farm_folder(folder: Path, content: bytes) -> Path:
    folder.mkdir()
    (folder / "farm.toml").write_bytes(content)
    (folder / "farm.db").write_bytes(b"the journal")
    (folder / "notes.txt").write_text("the grower's own", encoding="utf-8")
    return folder


def test_the_right_file_has_no_fault_and_no_warning(tmp_path: Path) -> None:
    check = check_farm(_farm_folder(tmp_path / "farm", RIGHT.encode()), CROPS)
    assert check.faults == ()
    assert check.warnings == ()
    assert check.farm is not None


@pytest.mark.parametrize(
    ("right", "wrong", "messages"),
    [pytest.param(*case[1:], id=case[0]) for case in WRONG],
)
def test_a_wrong_file_is_told_exactly(
    tmp_path: Path, right: str, wrong: str, messages: tuple[str, ...]
) -> None:
    assert right in RIGHT
    text = RIGHT.replace(right, wrong, 1)
    folder = _farm_folder(tmp_path / "farm", text.encode())
    before = _snapshot(tmp_path)
    with pytest.raises(FarmFileError) as caught:
        read_farm(folder, CROPS)
    assert caught.value.faults == messages
    assert str(caught.value) == "; ".join(messages)
    assert "\n" not in str(caught.value)
    check = check_farm(folder, CROPS)
    assert check.faults == messages
    assert check.farm is None
    assert _snapshot(tmp_path) == before


@pytest.mark.parametrize(
    ("content", "message"),
    [
        pytest.param(
            RIGHT.encode().replace(b"market harvest", b"march\xe9"),
            "farm.toml line 15: not UTF-8 text; save the file again as UTF-8",
            id="not UTF-8",
        ),
        pytest.param(
            RIGHT.encode() + b"#" * 1_000_000,
            "farm.toml: 1001072 bytes; allowed: up to 1000000; is it the right file?",
            id="too large",
        ),
        pytest.param(
            b"a = " + b"[" * 5000,
            "farm.toml line 1: not valid TOML: maximum recursion depth exceeded",
            id="nested without end",
        ),
    ],
)
def test_a_file_that_is_no_farm_file_is_told(tmp_path: Path, content: bytes, message: str) -> None:
    folder = _farm_folder(tmp_path / "farm", content)
    before = _snapshot(tmp_path)
    assert len(content) == len((folder / "farm.toml").read_bytes())
    check = check_farm(folder)
    assert len(check.faults) == 1
    assert check.faults[0].startswith(message)
    assert _snapshot(tmp_path) == before


def test_a_missing_file_and_a_missing_folder_are_told(tmp_path: Path) -> None:
    assert check_farm(tmp_path).faults == (
        f"{tmp_path}: no farm.toml here; `whitethread init` writes one",
    )
    nowhere = tmp_path / "nowhere"
    assert check_farm(nowhere).faults == (
        f"{nowhere}: no such folder; `whitethread init` makes a new farm",
    )
    (tmp_path / "farm.toml").mkdir()
    assert check_farm(tmp_path).faults == (
        f"{tmp_path}: no farm.toml here; `whitethread init` writes one",
    )
    assert not nowhere.exists()


def test_an_empty_file_is_told_what_it_lacks(tmp_path: Path) -> None:
    folder = _farm_folder(tmp_path / "farm", b"")
    assert check_farm(folder).faults == (
        "farm.toml, [farm]: missing; add the table [farm] with name",
        "farm.toml, [place]: missing; add the table [place] with latitude, longitude, elevation, "
        "time_zone",
        "farm.toml, [work]: missing; add the table [work] with hours",
        'farm.toml, [soils]: missing; add a soil, such as [soils.home] texture = "loam"',
        'farm.toml, [beds]: missing; add beds, such as [[beds]] range = "A1-A12" and length, width',
    )


def test_wrong_shapes_are_told_and_never_a_bug(tmp_path: Path) -> None:
    text = (
        "farm = 3\nplace = []\nsoils = { a = 1 }\nbeds = [1]\ntools = 7\ndefaults = 1\nwork = 2\n"
    )
    assert check_farm(_farm_folder(tmp_path / "farm", text.encode())).faults == (
        "farm.toml line 1, [farm]: 3 is not a table; write its keys below the header",
        "farm.toml line 2, [place]: an empty list is not a table; write its keys below the header",
        "farm.toml line 3, [soils]: each soil needs a table of its own, such as [soils.NAME]",
        "farm.toml line 4, [beds]: beds are written as tables, each below a header [[beds]]",
        "farm.toml line 5, [tools]: each tool needs a table of its own, such as [tools.NAME]",
        "farm.toml line 6, [defaults]: this table holds the table [defaults.bed] alone",
        "farm.toml line 7, [work]: 2 is not a table; write its keys below the header",
    )


def test_a_password_is_never_repeated() -> None:
    (case,) = (case for case in WRONG if case[0] == "password")
    assert "hunter2" in case[2]
    assert not any("hunter2" in message for message in case[3])
