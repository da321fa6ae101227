"""What a later plan changed in the part that an entry speaks of, in words."""

from collections.abc import Mapping
from typing import Any

__all__ = ["changes"]


def changes(entry: Mapping[str, Any], old: Mapping[str, Any], new: Mapping[str, Any]) -> list[str]:
    """``["stop collar 11.6 mm -> 12.6 mm"]``: what differs between two plans for the point, device and steps of an entry.

    Parameters
    ----------
    entry : mapping
        With ``point``, ``device`` and ``steps``.
    old, new : mapping
        Documents ``plan/1``.
    """
    found: list[str] = []
    if entry["point"]:
        found += _differences(_of_point(old, entry["point"]), _of_point(new, entry["point"]), "the point")
    if entry["device"]:
        found += _differences(_of_device(old, entry["device"]), _of_device(new, entry["device"]), "the device")
    card = {(step["where"], step["do"]) for step in new["work_card"]}
    found += [f'no longer on the work card: "{step["do"]}"' for step in entry["steps"] if (step["where"], step["do"]) not in card]
    return found


def _differences(old: Mapping[str, str], new: Mapping[str, str], what: str) -> list[str]:
    if not new:
        return [f"{what} is no longer planned"] if old else []
    return [
        f"{key} {old.get(key, 'none')} -> {new.get(key, 'none')}"
        for key in dict.fromkeys((*old, *new))
        if old.get(key) != new.get(key)
    ]


def _of_point(document: Mapping[str, Any], name: str) -> dict[str, str]:
    """What a plan says of a point, in words; empty where it says nothing."""
    part = next((part for part in document["parts"] if part["name"] == name), None)
    if part is None:
        return {}
    words = {"mount": part["mount"] or "not said", "face": part["face"] or "not said"}
    if part["clock"] is not None:
        words["mark"] = f"{part['clock']:g} o'clock"
    if part["at_m"]:
        words["place"] = ", ".join(f"{1000 * length:.4g}" for length in part["at_m"]) + " mm"
    if hole := part["hole"]:
        words |= {"thread": hole["thread"], "drill": hole["drill"], "tap": hole["tap"]}
        words["stop collar"] = _mm(hole["depth"]["value"] + hole["point"]["value"])
        if hole["metal_left"]:
            words["wall less gauge error"] = _mm(hole["metal_left"]["inputs"]["wall"]["value"])
            words["metal left"] = _mm(hole["metal_left"]["value"])
    if part["bond"] and part["bond"]["cure"]:
        words["full cure"] = f"{part['bond']['cure']['value'] / 3600:.1f} h"
    if part["band"]:
        words["true amplitude to"] = f"{part['band']['true_hz']:.0f} Hz"
    return words


def _of_device(document: Mapping[str, Any], name: str) -> dict[str, str]:
    row = next((row for row in document["bus"]["devices"] if row["name"] == name), None)
    return {} if row is None else {"address": str(row["address"]), "registers": str(row["registers"])}


def _mm(metres: float) -> str:
    return f"{1000 * metres:.4g} mm"
