"""Every format written with its general-purpose library and read back exactly; every refusal with its words; damage of any kind."""

import hashlib
import io
import re
import struct
import warnings
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import h5py
import nptdms
import numpy as np
import pyarrow as pa
import pyarrow.parquet
import pytest
import pyuff
import scipy.constants
import scipy.io
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase.errors import BadInput
from gearcase.record.readers import ENDINGS, describe, read_recording

RATE = 12800.0
WAVE = np.random.default_rng(0).standard_normal(500)
WAVE32 = WAVE.astype(np.float32)
UNITS = "m/s2 m/s² m/s^2 g mm/s2 mm/s m/s in/s um µm mm mil m"
NO_RATE = '--rate   the sample rate, which the file does not state, e.g. --rate "12 kHz"'
NO_UNIT = f"--unit   the unit of the values, which the file does not state, e.g. --unit g (one of {UNITS})"


def write_wav(path: Path, subtype: str = "FLOAT") -> None:
    soundfile.write(path, np.clip(WAVE32 / 8, -1, 1), int(RATE), subtype=subtype)


def write_csv(path: Path) -> None:
    lines = [f"{n / RATE:.9f},{value!r}" for n, value in enumerate(WAVE.tolist())]
    path.write_text("\n".join(["time [s],acc [m/s2]", *lines]) + "\n")


def write_mat(path: Path) -> None:
    scipy.io.savemat(path, {"gs": WAVE[:, None], "sr": np.uint16(RATE), "unit": "m/s2"}, do_compression=True)


def write_mat73(path: Path) -> None:
    """As MATLAB lays out version 7.3: HDF5 behind a 512-byte block, characters as numbers."""
    with h5py.File(path, "w", userblock_size=512) as file:
        file["gs"] = WAVE[None, :]
        file["sr"] = np.array([[RATE]])
        file["unit"] = np.array([[ord(letter)] for letter in "m/s2"], np.uint16)
        file["unit"].attrs["MATLAB_class"] = np.bytes_("char")
    with path.open("r+b") as stream:
        stream.write(b"MATLAB 7.3 MAT-file".ljust(124) + b"\x00\x02IM")


def write_npz(path: Path) -> None:
    np.savez(path, acc=WAVE32, fs=RATE, unit="m/s2")


def write_npy(path: Path) -> None:
    np.save(path, WAVE32)


def write_parquet(path: Path) -> None:
    table = pa.table({"acc": WAVE32}).replace_schema_metadata({"sample_rate_hz": str(RATE), "unit": "m/s2"})
    pa.parquet.write_table(table, path)


def write_hdf5(path: Path) -> None:
    with h5py.File(path, "w") as file:
        file["run/acc"] = WAVE
        file["run/acc"].attrs["unit"] = "m/s2"
        file["run"].attrs["sample_rate"] = RATE


def write_tdms(path: Path) -> None:
    waveform = {"wf_increment": 1 / RATE, "unit_string": "m/s2", "wf_start_time": np.datetime64("2026-01-02T03:04:05")}
    with nptdms.TdmsWriter(str(path)) as writer:
        writer.write_segment([nptdms.ChannelObject("run", "acc", WAVE, properties=waveform)])


def write_uff(path: Path, **changes: Any) -> None:
    names = ("abscissa", "ordinate", "orddenom", "z_axis")
    exponents = ("len_unit_exp", "force_unit_exp", "temp_unit_exp")
    data: dict[str, Any] = {  # every field of the header, which the library wants written
        **{f"{name}_{exponent}": 0 for name in names for exponent in exponents},
        **{f"{name}_axis_units_lab": "NONE" for name in names},
        **{f"{name}_spec_data_type": 0 for name in names},
        **{f"{name}_axis_lab": "NONE" for name in names},
        **{f"id{n}": "NONE" for n in range(2, 6)},
        "type": 58,
        "binary": 0,
        "id1": "housing",
        "func_type": 1,
        "func_id": 0,
        "ver_num": 0,
        "load_case_id": 0,
        "rsp_ent_name": "NONE",
        "rsp_node": 1,
        "rsp_dir": 3,
        "ref_ent_name": "NONE",
        "ref_node": 0,
        "ref_dir": 0,
        "ord_data_type": 4,
        "num_pts": WAVE.size,
        "abscissa_spacing": 1,
        "abscissa_min": 0.0,
        "abscissa_inc": 1 / RATE,
        "z_axis_value": 0.0,
        "ordinate_axis_units_lab": "m/s2",
        "data": WAVE,
        "x": np.arange(WAVE.size) / RATE,
    }
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)  # the library leaves its file for the collector
        pyuff.UFF(str(path)).write_sets({**data, **changes}, mode="add")


WRITERS: dict[str, tuple[str, Callable[[Path], None]]] = {
    "wav": (".wav", write_wav),
    "csv": (".csv", write_csv),
    "mat": (".mat", write_mat),
    "mat73": (".mat", write_mat73),
    "npz": (".npz", write_npz),
    "npy": (".npy", write_npy),
    "parquet": (".parquet", write_parquet),
    "hdf5": (".h5", write_hdf5),
    "tdms": (".tdms", write_tdms),
    "uff": (".uff", write_uff),
    "uff binary": (
        ".unv",
        lambda path: write_uff(path, binary=1, byte_ordering=1, fp_format=2, n_ascii_lines=11, n_bytes=8 * WAVE.size),
    ),
}


def refusal(call: Callable[[], object]) -> list[str]:
    with pytest.raises(BadInput) as caught:
        call()
    return [str(problem) for problem in caught.value.problems]


@pytest.mark.parametrize("kind", [kind for kind in WRITERS if kind not in ("wav", "npy")])
def test_what_was_written_is_read_back_exactly(kind: str, tmp_path: Path) -> None:
    ending, write = WRITERS[kind]
    path = tmp_path / f"run{ending}"
    write(path)
    found = read_recording(path)
    single = kind in ("npz", "parquet")
    tolerance = 1e-11 if kind == "uff" else 0  # its text holds 12 digits
    np.testing.assert_allclose(found.samples, WAVE32 if single else WAVE, rtol=tolerance, atol=0)
    assert found.samples.dtype == (np.float32 if single else np.float64)
    assert found.samples.flags.c_contiguous and found.samples.ndim == 1
    assert found.sample_rate_hz == pytest.approx(RATE, rel=1e-5 if "uff" in kind else 1e-9)  # abscissa_inc: 6 digits
    assert (found.unit, found.name) == ("m/s2", path.name)


def test_the_hash_is_of_the_file(tmp_path: Path) -> None:
    path = tmp_path / "run.csv"
    path.write_text("acc [g]\n" + "1.5\n" * 3)
    found = read_recording(path, rate_hz=1.0)
    assert found.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "PCM_U8", "FLOAT", "PCM_32", "DOUBLE"])
def test_wav_is_read_on_the_scale_of_its_library(subtype: str, tmp_path: Path) -> None:
    path = tmp_path / "run.wav"
    write_wav(path, subtype)
    found = read_recording(path, unit="m/s2")
    np.testing.assert_array_equal(found.samples, soundfile.read(path, dtype="float64")[0])
    assert found.samples.dtype == (np.float64 if subtype in ("PCM_32", "DOUBLE") else np.float32)
    assert found.sample_rate_hz == RATE


def test_npy_needs_rate_and_unit(tmp_path: Path) -> None:
    path = tmp_path / "run.npy"
    write_npy(path)
    assert refusal(lambda: read_recording(path)) == [f"run.npy   {NO_RATE}", f"run.npy   {NO_UNIT}"]
    np.testing.assert_array_equal(read_recording(path, rate_hz=RATE, unit="m/s2").samples, WAVE32)


def test_wav_says_what_full_scale_counts_as(tmp_path: Path) -> None:
    path = tmp_path / "run.wav"
    write_wav(path)
    assert refusal(lambda: read_recording(path)) == [
        "run.wav   --unit   WAV has no physical unit: full scale (1.0) counts as 1 of the unit you name, "
        f"e.g. --unit g (one of {UNITS})"
    ]


@pytest.mark.parametrize(
    ("unit", "si", "factor"),
    [
        ("g", "m/s2", scipy.constants.g),
        ("m/s²", "m/s2", 1),
        ("m/s**2", "m/s2", 1),
        ("mm/s2", "m/s2", 1e-3),
        ("mm/s", "m/s", 1e-3),
        ("in/s", "m/s", scipy.constants.inch),
        ("ips", "m/s", scipy.constants.inch),
        ("um", "m", 1e-6),
        ("μm", "m", 1e-6),
        ("mil", "m", scipy.constants.mil),
        ("mils", "m", scipy.constants.mil),
    ],
)
def test_units_as_people_spell_them_become_si(unit: str, si: str, factor: float, tmp_path: Path) -> None:
    path = tmp_path / "run.npy"
    np.save(path, WAVE)
    found = read_recording(path, rate_hz=RATE, unit=unit)
    np.testing.assert_allclose(found.samples, WAVE * factor, rtol=1e-14)
    assert found.unit == si


@pytest.mark.parametrize(
    ("text", "values", "rate"),
    [
        ("1.5\n-2\n3e1\n", [1.5, -2, 30], None),
        ("acc\n1.5\n-2\n3\n", [1.5, -2, 3], None),
        ("1,5\n-2,25\n3,125\n4;\n", None, None),
        ("acc\n1,5\n-2,25\n", [1.5, -2.25], None),
        ("time;acc\n0;1,5\n0,001;-2\n0,002;3\n", [1.5, -2, 3], 1000.0),
        ("time\tacc\n0\t1.5\n0.5\t2\n1\t3\n", [1.5, 2, 3], 2.0),
        ("0 1.5\n0.25 2\n0.5 3\n", [1.5, 2, 3], 4.0),
        ("t (ms),a\n0,1\n2,2\n4,3\n", [1, 2, 3], 500.0),
        ("# sample_rate_hz: 400\n# unit = mm/s\nv\n1\n2\n3\n", [1, 2, 3], 400.0),
        ('"time","acc"\n"0.0","1"\n"0.1","2"\n"0.2","3"\n', [1, 2, 3], 10.0),
        ("time,acc\ns,m/s2\n0,1\n0.1,2\n0.2,3\n", [1, 2, 3], 10.0),
        ("timestamp,acc\n2026-01-01T00:00:00,1\n2026-01-01T00:00:00.5,2\n2026-01-01T00:00:01,3\n", [1, 2, 3], 2.0),
        ("\ufefftime,acc\r\n0,1\r\n0.1,2\r\n0.2,3\r\n", [1, 2, 3], 10.0),
        # times printed too coarsely for their rate still lie on an even grid
        ("time,acc\n" + "".join(f"{n / 3000:.4f},{n}\n" for n in range(30)), list(range(30)), 29 / 0.0097),
    ],
)
def test_csv_as_people_write_it(text: str, values: list[float] | None, rate: float | None, tmp_path: Path) -> None:
    path = tmp_path / "run.csv"
    path.write_text(text, encoding="utf-8")
    if values is None:
        assert refusal(lambda: read_recording(path, rate_hz=1.0, unit="m/s2"))
        return
    unit = None if "mm/s" in text or "m/s2" in text else "m/s2"  # what the file says need not be said again
    found = read_recording(path, rate_hz=None if rate else 1.0, unit=unit)
    assert found.samples.tolist() == [value * (1e-3 if "mm/s" in text else 1) for value in values]
    assert found.sample_rate_hz == pytest.approx(rate or 1.0)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            "1,5\n2,5\n",
            [
                "run.csv   given '1,5'   clear decimals: \"1,5\" may be 1.5 or two columns; "
                'write decimal points, or separate columns with ";"'
            ],
        ),
        ("a,b\n1,2\n1.5\n", ["run.csv:3   given 1 values   2 as in the lines before; the file may have been cut off here"]),
        ("a,b\n1,2\n1,x\n3,\n4,5\n", ["run.csv:3   given 'x'   a number", "run.csv:4   given ''   a number"]),
        ("a,b\n", ["run.csv   given headings and no numbers   a file with samples"]),
        (
            't,a\n"0,0","0,1"\n"0,1","0,2"\n',
            [
                "run.csv   given '0,1'   numbers with decimal points; decimal commas are read where columns are separated by "
                '";" or tabs'
            ],
        ),
        ("# nothing\n", ["run.csv   given no lines of numbers   a file with samples"]),
        ("acc\0\n1\n", ["run.csv   given bytes that are no text   a text file; damaged or of another format"]),
    ],
)
def test_csv_that_is_not_clear_is_refused_by_line(text: str, says: list[str], tmp_path: Path) -> None:
    path = tmp_path / "run.csv"
    path.write_text(text)
    assert refusal(lambda: read_recording(path, rate_hz=1.0, unit="g")) == says


def test_uneven_times_give_no_rate_and_say_where(tmp_path: Path) -> None:
    path = tmp_path / "run.csv"
    times = np.arange(100) / 1000
    times[60:] += 0.002
    np.savetxt(path, np.column_stack([times, WAVE[:100]]), delimiter=",", header="time,acc", comments="")
    (says,) = refusal(lambda: read_recording(path, unit="g"))
    assert says.startswith("run.csv   --rate   given time: times lie up to 1.2 steps off an even grid, near value 60")
    assert read_recording(path, unit="g", rate_hz=1000.0).sample_rate_hz == 1000.0


def test_everything_missing_is_said_at_once(tmp_path: Path) -> None:
    path = tmp_path / "run.npz"
    np.savez(path, front=WAVE, back=WAVE[:400])
    assert refusal(lambda: read_recording(path, speed_hz=-3.0)) == [
        "run.npz   --channel   given a file of 2 channels   the name of one: front (500 samples), back (400 samples)",
        f"run.npz   {NO_RATE}",
        f"run.npz   {NO_UNIT}",
        "run.npz   --speed   given -3 Hz   a speed above 0",
    ]
    assert read_recording(path, rate_hz=1.0, unit="g", channel="back").channel == "back"
    (says,) = refusal(lambda: read_recording(path, rate_hz=1.0, unit="g", channel="side"))
    assert says.startswith("run.npz   --channel   given 'side'   the name of one channel: front (500 samples)")


def test_a_struct_with_a_shaft_rate_beside_the_sample_rate(tmp_path: Path) -> None:
    path = tmp_path / "run.mat"
    fields = {"gs": WAVE, "sr": np.uint16(48828), "rate": np.uint8(25), "load": "300"}
    scipy.io.savemat(path, {"bearing": fields, "BPFO": 81.125})
    found = read_recording(path, unit="g")
    assert (found.sample_rate_hz, found.channel, found.speed_hz) == (48828.0, "bearing.gs", None)
    assert "bearing.rate = 25 may be a sample rate or a shaft's rate: not used" in found.found


@pytest.mark.parametrize(("rate", "taken"), [(25, None), (999, None), (1000, 1000.0), (25600, 25600.0)])
def test_a_bare_rate_counts_only_when_plausible(rate: int, taken: float | None, tmp_path: Path) -> None:
    path = tmp_path / "run.mat"
    scipy.io.savemat(path, {"x": WAVE, "rate": rate})
    assert describe(path).channels[0].rate_hz == taken


def test_rates_that_disagree_are_refused_and_the_option_decides(tmp_path: Path) -> None:
    path = tmp_path / "run.mat"
    scipy.io.savemat(path, {"x": WAVE, "fs": 12000, "SampFreq": 48000.0})
    assert refusal(lambda: read_recording(path, unit="g")) == [
        "run.mat   --rate   given a file that states fs = 12000 Hz, SampFreq = 48000 Hz   "
        'the one that is right, e.g. --rate "12 kHz"'
    ]
    found = read_recording(path, unit="g", rate_hz=12000.0)
    assert found.sample_rate_hz == 12000.0
    assert "the file states fs = 12000 Hz, SampFreq = 48000 Hz; --rate 12000 Hz was used" in found.found


def test_a_rate_that_contradicts_the_files_own_is_refused_with_both(tmp_path: Path) -> None:
    path = tmp_path / "run.npz"
    np.savez(path, x=WAVE, fs=12000.0, unit="g")
    assert refusal(lambda: read_recording(path, rate_hz=12800.0)) == [
        "run.npz   --rate   given 12800 Hz against a file that states fs = 12000 Hz   "
        "one rate: leave --rate out where the file is right, correct the file where it is wrong"
    ]
    rounded = read_recording(path, rate_hz=12000.5)
    assert rounded.sample_rate_hz == 12000.5 and "--rate 12000.5 Hz was used" in rounded.found
    np.savez(path, x=WAVE, fs=12000.0, sampling_rate=48000.0, unit="g")
    (says,) = refusal(lambda: read_recording(path, rate_hz=25600.0))
    assert "given 25600 Hz against a file that states fs = 12000 Hz, sampling_rate = 48000 Hz" in says


def test_a_rate_read_from_rounded_times_gives_way_to_the_call_as_far_as_their_digits_leave_it_open(tmp_path: Path) -> None:
    """30 times of 3000 Hz printed to 0.1 ms: the file gives 29 / 9.7 ms = 2990 Hz, and 3000 Hz lies within 0.1 ms of it."""
    path = tmp_path / "run.csv"
    path.write_text("time,acc\n" + "".join(f"{n / 3000:.4f},{n}\n" for n in range(30)), encoding="utf-8")
    assert read_recording(path, unit="g", rate_hz=3000.0).sample_rate_hz == 3000.0
    (says,) = refusal(lambda: read_recording(path, unit="g", rate_hz=3200.0))
    assert "given 3200 Hz against a file that states time = 2989.69 Hz" in says


def test_a_unit_that_contradicts_the_files_own_is_refused_with_both_and_another_spelling_of_it_is_not(tmp_path: Path) -> None:
    path = tmp_path / "run.npz"
    np.savez(path, x=WAVE, fs=12000.0, unit="m/s^2")
    assert refusal(lambda: read_recording(path, unit="g")) == [
        "run.npz   --unit   given g against a file that states m/s^2   "
        "one unit: leave --unit out where the file is right, correct the file where it is wrong"
    ]
    assert read_recording(path, unit="m/s²").unit == "m/s2"
    both = refusal(lambda: read_recording(path, unit="mm/s", rate_hz=1.0))
    assert len(both) == 2 and "--rate" in both[0] and "--unit" in both[1]


@pytest.mark.parametrize("rate", [0.0, -5.0])
def test_an_impossible_rate_is_refused_from_either_side(rate: float, tmp_path: Path) -> None:
    path = tmp_path / "run.npz"
    np.savez(path, x=WAVE, fs=rate, unit="g")
    assert refusal(lambda: read_recording(path)) == [
        f'run.npz   --rate   given a file that states fs = {rate:g} Hz   a sample rate above 0; give it with --rate "12 kHz"'
    ]
    assert refusal(lambda: read_recording(path, rate_hz=rate)) == [f"run.npz   --rate   given {rate:g} Hz   a sample rate above 0"]


def test_speed_in_the_file_is_found_and_the_option_wins(tmp_path: Path) -> None:
    path = tmp_path / "run.mat"
    scipy.io.savemat(path, {"X105_DE_time": WAVE, "X105RPM": np.uint16(1797)})
    assert read_recording(path, unit="g", rate_hz=12000.0).speed_hz == 29.95
    found = read_recording(path, unit="g", rate_hz=12000.0, speed_hz=25.0)
    assert found.speed_hz == 25.0
    assert "the file states X105RPM = 29.95 Hz; --speed 25 Hz was used" in found.found


def test_a_unit_that_is_no_vibration_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "run.npz"
    np.savez(path, x=WAVE, fs=1000.0, unit="V")
    assert refusal(lambda: read_recording(path)) == [
        f"run.npz   --unit   given a file in 'V'   a unit of vibration: one of {UNITS}"
    ]
    assert refusal(lambda: read_recording(path, unit="furlong")) == [f"run.npz   --unit   given 'furlong'   one of {UNITS}"]


@pytest.mark.parametrize("dtype", [np.uint8, np.int16, np.uint16, np.int32])
def test_integers_become_floats_before_any_arithmetic(dtype: type, tmp_path: Path) -> None:
    path = tmp_path / "run.npy"
    values = np.array([0, 1, 127, 255, 200], dtype=dtype)
    np.save(path, values)
    found = read_recording(path, rate_hz=1.0, unit="mm/s")
    np.testing.assert_allclose(found.samples, values.astype(float) / 1000, rtol=1e-6)


def test_gaps_are_counted_and_placed(tmp_path: Path) -> None:
    path = tmp_path / "run.npy"
    x = WAVE.copy()
    x[[7, 100, 101, 102]] = [np.inf, np.nan, 1e200, -np.inf]
    np.save(path, x)
    assert refusal(lambda: read_recording(path, rate_hz=1.0, unit="g")) == [
        "run.npy   samples   given 4 of 500 samples not a number or impossibly large, first at 7, longest run 3   "
        "numbers only: cut the recording to a part without gaps"
    ]


@pytest.mark.parametrize(
    ("array", "says"),
    [
        (WAVE + 1j, "given samples: complex numbers   at least one channel of real numbers"),
        (np.array(["a", "b"]), "given samples: text   at least one channel of real numbers"),
        (np.zeros(5, bool), "given samples: yes or no   at least one channel of real numbers"),
        (np.zeros((70, 90)), "given samples: a table of 70 x 90, of which no side is plainly time   at least one channel"),
        (np.zeros(0), "samples   given no samples   a recording"),
        (np.array([None, 1], object), "given a file that cannot be read (Array can't be memory-mapped: Python objects in dtype.)"),
    ],
)
def test_what_is_no_waveform_is_refused(array: np.ndarray, says: str, tmp_path: Path) -> None:
    path = tmp_path / "run.npy"
    np.save(path, array, allow_pickle=True)
    (told,) = refusal(lambda: read_recording(path, rate_hz=1.0, unit="g"))
    assert told.startswith(f"run.npy   {says}")


def test_a_table_gives_a_channel_for_each_of_its_short_side(tmp_path: Path) -> None:
    path = tmp_path / "run.npy"
    table = np.stack([WAVE, 2 * WAVE, 3 * WAVE])
    for array in (table, table.T):
        np.save(path, array)
        assert [one.name for one in describe(path).channels] == ["samples:1", "samples:2", "samples:3"]
        np.testing.assert_array_equal(read_recording(path, rate_hz=1.0, unit="m", channel="samples:2").samples, 2 * WAVE)


def test_what_remains_beside_an_unclear_table_is_not_chosen_alone(tmp_path: Path) -> None:
    path = tmp_path / "run.npz"
    np.savez(path, snapshot=np.arange(225), h=np.zeros((225, 2560)))
    (says,) = refusal(lambda: read_recording(path, rate_hz=1.0, unit="g"))
    assert says.startswith("run.npz   --channel   given a file of 1 channels; h: a table of 225 x 2560")


def test_only_time_responses_of_a_universal_file_are_channels(tmp_path: Path) -> None:
    path = tmp_path / "run.uff"
    write_uff(path)
    write_uff(path, id1="response", func_type=4)
    found = describe(path)
    assert [one.name for one in found.channels] == ["housing"]
    assert found.left_out == ("response: function type 4, not a time response (1)",)


def test_parquet_columns_carry_their_own_unit(tmp_path: Path) -> None:
    path = tmp_path / "run.parquet"
    fields = [pa.field(name, pa.float64(), metadata={"unit": unit}) for name, unit in (("a", "g"), ("b", "mm/s"))]
    pa.parquet.write_table(pa.table([WAVE, WAVE], schema=pa.schema([*fields], metadata={"sample_rate_hz": "5000"})), path)
    assert read_recording(path, channel="b").unit == "m/s"
    assert [(one.unit, one.rate_hz) for one in describe(path).channels] == [("g", 5000.0), ("mm/s", 5000.0)]


def test_tdms_names_the_group_where_names_repeat(tmp_path: Path) -> None:
    path = tmp_path / "run.tdms"
    with nptdms.TdmsWriter(str(path)) as writer:
        writer.write_segment([nptdms.ChannelObject(group, "acc", WAVE) for group in ("front", "back")])
    assert {one.name for one in describe(path).channels} == {"front/acc", "back/acc"}


@pytest.mark.parametrize("kind", WRITERS)
def test_a_file_too_large_is_refused_before_loading(kind: str, tmp_path: Path) -> None:
    ending, write = WRITERS[kind]
    path = tmp_path / f"run{ending}"
    write(path)
    (says,) = refusal(lambda: read_recording(path, limit_bytes=1000))
    assert re.match(
        rf"run{ending}   size   given about 0\.[01] MiB once loaded   at most 0\.0 MiB here: cut the recording into", says
    )


def test_a_header_that_promises_a_terabyte_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "run.npy"
    stream = io.BytesIO()
    np.lib.format.write_array_header_1_0(stream, {"descr": "<f8", "fortran_order": False, "shape": (2**40,)})
    path.write_bytes(stream.getvalue() + bytes(800))
    (says,) = refusal(lambda: read_recording(path))
    assert says.startswith("run.npy   given a file that cannot be read")


def test_a_wav_cut_off_is_refused_though_its_library_would_read_it(tmp_path: Path) -> None:
    path = tmp_path / "run.wav"
    write_wav(path, "PCM_16")
    whole = path.read_bytes()
    path.write_bytes(whole[:-200])
    assert refusal(lambda: read_recording(path, unit="g")) == [
        f"run.wav   given {len(whole) - 208} of {len(whole) - 8} bytes   the whole file; this one is cut off"
    ]


def test_a_wav_written_to_a_pipe_states_no_size_and_is_read(tmp_path: Path) -> None:
    path = tmp_path / "run.wav"
    write_wav(path, "PCM_16")
    raw = bytearray(path.read_bytes())
    raw[4:8] = struct.pack("<I", 0xFFFFFFFF)
    path.write_bytes(raw)
    assert read_recording(path, unit="g").samples.size == WAVE.size


def test_paths_that_are_no_recordings(tmp_path: Path) -> None:
    (tmp_path / "empty.wav").touch()
    (tmp_path / "notes.doc").write_text("x")
    (tmp_path / "folder.csv").mkdir()
    supported = ", ".join(ENDINGS)
    assert refusal(lambda: read_recording(tmp_path / "none.wav")) == [
        f"{tmp_path}/none.wav   given no such file   a recording, its path as seen from where the command is typed"
    ]
    assert refusal(lambda: read_recording(tmp_path / "empty.wav")) == ["empty.wav   given an empty file   a recording"]
    assert refusal(lambda: read_recording(tmp_path / "notes.doc")) == [f"notes.doc   given .doc   one of {supported}"]
    assert refusal(lambda: describe(tmp_path / "folder.csv")) == [
        f"{tmp_path}/folder.csv   given a folder   a file; name each recording by itself"
    ]


@dataclass(frozen=True)
class Original:
    """A whole file of each kind."""

    path: Path
    raw: bytes = field(repr=False)


@pytest.fixture(scope="module")
def originals(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Original]:
    folder = tmp_path_factory.mktemp("originals")
    found = {}
    for kind, (ending, write) in WRITERS.items():
        path = folder / f"{kind}{ending}"
        write(path)
        found[kind] = Original(path, path.read_bytes())
    return found


def damaged(raw: bytes, changes: list[tuple[float, int]], kept: float) -> bytes:
    """Bytes changed at places given as shares of the file, and its end cut off."""
    changed = bytearray(raw)
    for place, value in changes:
        changed[int(place * len(raw))] = value
    return bytes(changed[: max(1, round(kept * len(raw)))])


def attempt(path: Path, raw: bytes) -> None:
    """Read and describe a file with these bytes: a sound recording, or reasons that name the file."""
    path.write_bytes(raw)
    try:
        found = read_recording(path, rate_hz=RATE, unit="g")
        describe(path)
    except BadInput as refused:
        found, named = None, [path.name in problem.where for problem in refused.problems]
    if found is None:
        assert named and all(named)
    else:
        assert np.isfinite(found.samples).all() and found.samples.size > 0


AWAY = st.floats(0, 1, exclude_max=True)
CHANGES = st.lists(st.tuples(AWAY | AWAY.map(lambda share: 0.1 * share), st.integers(0, 255)), max_size=8)
KEPT = st.just(1.0) | st.floats(0, 1)


def test_a_start_that_no_calendar_understands_is_left_out_and_said(tmp_path: Path) -> None:
    """A trend sorts recordings by it. The universal file's third line is "DD-MMM-YY HH:MM:SS" (its specification, from memory)."""
    scipy.io.savemat(tmp_path / "run.mat", {"x": WAVE, "fs": RATE, "unit": "m/s2", "start": "second run"})
    found = read_recording(tmp_path / "run.mat")
    assert found.start == "" and "states its start as 'second run'" in found.found
    assert read_recording(tmp_path / "run.mat", start="2026-03-02T10:00").start == "2026-03-02T10:00"
    with pytest.raises(BadInput, match="start   given 'yesterday'   a date or date and time"):
        read_recording(tmp_path / "run.mat", start="yesterday")
    write_uff(tmp_path / "run.uff", id3="02-MAR-26 10:00:05")
    assert read_recording(tmp_path / "run.uff").start == "2026-03-02T10:00:05"


TRIED_APART = ("mat73", "hdf5")  # each reading starts a process


@pytest.mark.parametrize("kind", [kind for kind in WRITERS if kind not in TRIED_APART])
@given(changes=CHANGES, kept=KEPT)
@settings(max_examples=60, deadline=None)
def test_damage_of_any_kind_gives_a_recording_or_a_reason(
    kind: str, originals: dict[str, Original], changes: list[tuple[float, int]], kept: float
) -> None:
    original, whole = originals[kind].path, originals[kind].raw
    attempt(original.with_name(f"damaged-{original.name}"), damaged(whole, changes, kept))


@pytest.mark.parametrize("kind", TRIED_APART)
@given(changes=CHANGES, kept=KEPT)
@settings(max_examples=6, deadline=None)
def test_damage_to_hdf5_gives_a_recording_or_a_reason(
    kind: str, originals: dict[str, Original], changes: list[tuple[float, int]], kept: float
) -> None:
    original, whole = originals[kind].path, originals[kind].raw
    attempt(original.with_name(f"damaged-{original.name}"), damaged(whole, changes, kept))


@pytest.mark.parametrize("kind", [kind for kind in WRITERS if kind != "csv"])
@pytest.mark.parametrize("kept", [0.5, 0.99])
def test_a_file_cut_off_is_refused(kind: str, kept: float, originals: dict[str, Original]) -> None:
    original, whole = originals[kind].path, originals[kind].raw
    path = original.with_name(f"cut-{original.name}")
    path.write_bytes(damaged(whole, [], kept))
    (says,) = refusal(lambda: read_recording(path, rate_hz=RATE, unit="g"))
    assert says.startswith(path.name) and re.search("cut off|the whole file", says)


def test_a_csv_whose_last_line_has_no_end_says_so(tmp_path: Path) -> None:
    path = tmp_path / "run.csv"
    path.write_text("acc [g]\n1\n2\n3")
    assert "the last line has no line end: it may have been cut off" in read_recording(path, rate_hz=1.0).found


@pytest.mark.long
def test_no_damage_to_hdf5_takes_the_process_down(originals: dict[str, Original]) -> None:
    """The library breaks down on about one in some hundred of such files; this process must not."""
    original, whole = originals["hdf5"].path, originals["hdf5"].raw
    random = np.random.default_rng(7)
    for _ in range(400):
        changes = list(zip(random.random(5).tolist(), random.integers(0, 256, 5).tolist(), strict=True))
        attempt(original.with_name("broken.h5"), damaged(whole, changes, 1.0))


def test_a_column_of_the_only_table_is_named_by_its_number_alone(tmp_path: Path) -> None:
    path = tmp_path / "run.npy"
    np.save(path, np.stack([WAVE, 2 * WAVE], axis=1))
    assert read_recording(path, rate_hz=1.0, unit="m", channel="2").channel == "samples:2"
    for wanted in ("3", "", ":2", "s:2"):
        (says,) = refusal(lambda wanted=wanted: read_recording(path, rate_hz=1.0, unit="m", channel=wanted))  # type: ignore[misc]
        assert "the name of one channel: samples:1" in says
    two = tmp_path / "run.npz"
    np.savez(two, a=np.stack([WAVE, 2 * WAVE]), b=np.stack([WAVE, 3 * WAVE]))
    (says,) = refusal(lambda: read_recording(two, rate_hz=1.0, unit="m", channel="2"))
    assert "a:2" in says and "b:2" in says
