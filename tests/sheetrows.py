"""Rows of a plan as the sheets take them, for a drive in an invented quarry."""

from typing import Any

STUD = {"thread": "1/4-28", "drill": "No. 3", "drill_mm": 5.41, "tap": "bottoming"}
PARTS: list[dict[str, Any]] = [
    {"name": "input coupling end", "face": "coupling side", "at_m": [0.330, 0.330], "mount": "stud", "hole": STUD, "clock": 12},
    {"name": "intermediate left", "face": "left", "at_m": [0.300, 0.330], "mount": "rigid adhesive", "hole": None, "clock": 3},
    {"name": "output left", "face": "left", "at_m": [0.430, 0.190], "mount": "flat magnet", "hole": None, "base_m": 0.038},
    {"name": "input left", "face": "left", "at_m": [0.095, 0.340], "mount": "stud", "hole": STUD, "clock": 10.5, "base_m": 0.028},
]
LEFT: dict[str, Any] = {
    "name": "left",
    "size_m": [0.620, 0.430],
    "outward": "left",
    "keep_outs": [
        {"name": "drain plug", "kind": "port", "at_m": [0.060, 0.040], "size_m": [0.040, 0.040]},
        {"name": "oil level glass", "kind": "port", "at_m": [0.540, 0.130], "size_m": [0.045, 0.045]},
        {"name": "split flange", "kind": "split line", "at_m": [0.310, 0.250], "size_m": [0.620, 0.030]},
        {"name": "fan inlet", "kind": "fan shroud", "at_m": [0.560, 0.370], "size_m": [0.100, 0.090]},
        {"name": "exhaust", "kind": "hot zone", "at_m": [0.200, 0.050], "size_m": [0.080, 0.060]},
    ],
    "regions": [
        {
            "name": "boss A",
            "kind": "boss",
            "at_m": [0.095, 0.340],
            "size_m": [0.060, 0.060],
            "wall": {"thickness_m": 0.0224, "gauge_error_m": 0.0003, "origin": "measured"},
        },
        {"name": "lower panel", "kind": "panel", "at_m": [0.330, 0.110], "size_m": [0.150, 0.100], "wall": None},
    ],
    "seats": [
        {"bearing": "intermediate bearing, left", "at_m": [0.300, 0.250], "diameter_m": 0.130, "load_clock": 2},
        {"bearing": "output bearing, left", "at_m": [0.430, 0.250], "diameter_m": 0.100, "load_clock": None},
    ],
    "threaded_holes": [
        {"name": "J1", "at_m": [0.030, 0.400], "diameter_m": 0.012, "thread": "M12", "function": "jacking screw"},
        {"name": "T1", "at_m": [0.500, 0.050], "diameter_m": 0.010, "thread": "", "function": ""},
    ],
}
INPUT_END: dict[str, Any] = {
    "name": "coupling side",
    "size_m": [0.520, 0.430],
    "outward": "input end",
    "keep_outs": [
        {"name": "coupling and guard", "kind": "rotating part", "at_m": [0.150, 0.330], "size_m": [0.160, 0.160]},
    ],
}
FACES = [LEFT, INPUT_END]
PLATE: dict[str, Any] = {
    "name": "edge enclosure",
    "size_m": [0.200, 0.150],
    "thickness_m": 0.003,
    "material": "stainless sheet",
    "corner_radius_m": 0.010,
    "holes": [
        {"at_m": [0.050, 0.030], "diameter_m": 0.0066, "for": "enclosure foot, M6"},
        {"at_m": [0.150, 0.030], "diameter_m": 0.0066, "for": "enclosure foot, M6"},
        {"at_m": [0.050, 0.120], "diameter_m": 0.0066, "for": "enclosure foot, M6"},
        {"at_m": [0.150, 0.120], "diameter_m": 0.0066, "for": "enclosure foot, M6"},
    ],
    "slots": [
        {"at_m": [0.100, 0.075], "length_m": 0.030, "width_m": 0.0135, "turned_deg": 0.0, "for": "strut channel, M12"},
        {"at_m": [0.175, 0.075], "length_m": 0.030, "width_m": 0.0135, "turned_deg": 90.0, "for": "strut channel, M12"},
        {"at_m": [0.025, 0.075], "length_m": 0.024, "width_m": 0.009, "turned_deg": 30.0, "for": "cable tie"},
    ],
}
ROUTES: list[dict[str, Any]] = [
    {
        "cable": "W2",
        "device": "vibration intermediate",
        "legs": [
            {"face": "left", "start_m": [0.300, 0.330], "end_m": [0.500, 0.400]},
            {"face": "left", "start_m": [0.500, 0.400], "end_m": [0.620, 0.400]},
            {"face": "coupling side", "start_m": [0.0, 0.400], "end_m": [0.450, 0.060]},
        ],
    },
    {
        "cable": "W1",
        "device": "vibration input",
        "legs": [{"face": "coupling side", "start_m": [0.33, 0.33], "end_m": [0.450, 0.060]}],
    },
]
BUS: dict[str, Any] = {
    "baud": 19200,
    "master": {"name": "edge computer", "isolated": True},
    "terminations": [{"at": "edge computer", "resistance_ohm": 120.0}, {"at": "stack light", "resistance_ohm": 120.0}],
    "biases": [{"at": "edge computer", "supply_v": 5.0, "each_ohm": 560.0}],
    "screen_bonds": ["edge computer"],
    "devices": [
        {
            "name": "converter",
            "address": 3,
            "profile": "drive inputs",
            "point": "",
            "unit_load": 1.0,
            "stub_m": 0.3,
            "isolated": True,
            "trunk_m": 3.0,
        },
        {
            "name": "vibration input",
            "address": 11,
            "profile": "three-axis vibration",
            "point": "input coupling end",
            "unit_load": 0.125,
            "stub_m": 0.5,
            "isolated": False,
            "trunk_m": 8.2,
        },
        {"name": "vibration intermediate", "address": 12, "profile": "three-axis vibration", "point": "intermediate left"},
        {"name": "stack light", "address": 31, "profile": "stack light", "point": "", "unit_load": 1.0, "trunk_m": 4.0},
    ],
}
CABLES: list[dict[str, Any]] = [
    {"device": "converter", "run_m": 3.0, "cable": "W1"},
    {"device": "vibration input", "run_m": 8.2, "cable": "W2"},
    {"device": "vibration intermediate", "run_m": 6.5, "cable": None},
]
POWER: dict[str, Any] = {
    "source": "24 V supply",
    "supply_v": 24.0,
    "protection": "fuse 4 A, slow, in the positive line",
    "mains": {"says": "230 V branch circuit, 16 A, 2.5 mm² copper, 25 m", "only_by": "a licensed electrician"},
    "segments": [
        {
            "start": "24 V supply",
            "end": "splitter",
            "length_m": 3.0,
            "wire": "22 AWG",
            "current_a": 0.9,
            "volts": 23.7,
            "least_volts": None,
        },
        {
            "start": "splitter",
            "end": "vibration input",
            "length_m": 8.2,
            "wire": "22 AWG",
            "current_a": 0.1,
            "volts": 23.5,
            "least_volts": 12.0,
        },
        {
            "start": "splitter",
            "end": "stack light",
            "length_m": 4.0,
            "wire": "22 AWG",
            "current_a": 0.7,
            "volts": 23.3,
            "least_volts": 21.6,
        },
        {
            "start": "24 V supply",
            "end": "edge computer",
            "length_m": 0.5,
            "wire": "18 AWG",
            "current_a": 1.0,
            "volts": 23.9,
            "least_volts": 20.4,
        },
    ],
}
TERMINALS: list[dict[str, Any]] = [
    {"device": "vibration input", "terminal": "1", "signal": "D1", "cable": "W2", "to": "splitter, terminal 1"},
    {"device": "vibration input", "terminal": "2", "signal": "D0", "cable": "W2", "to": "splitter, terminal 2"},
    {"device": "vibration input", "terminal": "3", "signal": "common", "cable": "W2", "to": "splitter, terminal 3"},
    {"device": "vibration input", "terminal": "4", "signal": "24 V", "cable": "W2", "to": "splitter, terminal 4"},
]
HOUR, DAY = 3600.0, 86400.0
SCHEDULE: dict[str, Any] = {
    "window_s": 10 * HOUR,
    "states": [
        {"state": "running", "start_s": -1 * HOUR, "end_s": 0.0},
        {"state": "locked out", "start_s": 0.0, "end_s": 1 * HOUR},
        {"state": "cold", "start_s": 1 * HOUR, "end_s": 8 * HOUR},
        {"state": "running", "start_s": 8 * HOUR, "end_s": 10 * HOUR},
    ],
    "tasks": [
        {"name": "try magnet spots", "crew": ["A"], "start_s": -1 * HOUR, "end_s": -0.25 * HOUR, "cure_s": 0.0, "critical": False},
        {
            "name": "lock out and prove still",
            "crew": ["A", "B"],
            "start_s": 0.0,
            "end_s": 1 * HOUR,
            "cure_s": 0.0,
            "critical": True,
        },
        {
            "name": "bond intermediate left",
            "crew": ["A"],
            "start_s": 1 * HOUR,
            "end_s": 1.75 * HOUR,
            "cure_s": 4 * HOUR,
            "critical": True,
        },
        {
            "name": "drill and tap input coupling end",
            "crew": ["B"],
            "start_s": 1 * HOUR,
            "end_s": 3 * HOUR,
            "cure_s": 0.0,
            "critical": False,
        },
        {"name": "run cables", "crew": ["A", "B"], "start_s": 3 * HOUR, "end_s": 5 * HOUR, "cure_s": 0.0, "critical": False},
        {
            "name": "prove with the drive running",
            "crew": ["A"],
            "start_s": 8 * HOUR,
            "end_s": 9.5 * HOUR,
            "cure_s": 0.0,
            "critical": True,
        },
    ],
    "before": [
        {"what": "network approval", "owner": "plant network", "lead_s": 42 * DAY, "due_s": -7 * DAY},
        {"what": "permission to drill", "owner": "shift engineer", "lead_s": 14 * DAY, "due_s": -7 * DAY},
        {"what": "licensed electrician", "owner": "site", "lead_s": 10 * DAY, "due_s": 0.0},
    ],
}
