"""Train the trees of ``arranger/reduce/worth/tune_model.json``.

    pip install catboost
    python -m tests.benchmarks.train_tune_model FOLDER OUTPUT.json

FOLDER holds POP909 (see `tests.benchmarks.pop909`); the songs whose number three divides are kept
back and measured at the end. Scores of music21's corpus (see `tests.benchmarks.scores`) are added,
half of each kind, so that the model knows music without loudness and with a tune that is mostly on
top. The model should know music, not files, so every song comes in versions: as it is; with the
sustain pedal; on an exact grid with all notes equally loud, as a score would have it; and at another
tempo with other loudness and shorter notes, every third time with the other parts an octave higher,
for a tune is not always on top.

Only passages with a tune count in full: what is likeliest in an interlude can't be learned here.
The second stage is trained on what first stages said of songs that they were not trained on.
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from catboost import CatBoostClassifier, Pool
from numpy.typing import NDArray

from arranger.reduce.worth.table import columns
from arranger.reduce.worth.tune_features import (
    Voicing,
    near_features,
    neighbours,
    voicing,
    wide_features,
)
from tests.benchmarks import pop909, scores

Floats = NDArray[np.float64]
FOLDS = 3
SEED = 1
ABOUT = {
    "what": "log odds that a note belongs to the tune; see arranger/reduce/tune_model.py",
    "made by": "tests/benchmarks/train_tune_model.py",
    "trained on": "POP909 (Wang et al., ISMIR 2020, MIT licence), songs 001-150 but every third, "
    "and half of the scores of tests/benchmarks/scores.py",
    "if": "tests of a tree: feature, threshold; true when greater",
    "then": "its values; bit k of the index is the result of test k",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """One version of one song, in order of onset and pitch."""

    notes: Voicing
    tune: NDArray[np.bool_]
    weight: Floats


def sample(
    onset: Floats, end: Floats, pitch: NDArray[np.int64], loudness: Floats, tune: NDArray[np.bool_],
    weight: Floats,
) -> Sample:  # fmt: skip
    order = np.lexsort((pitch, onset))
    notes = voicing(onset[order], end[order], pitch[order], loudness[order])
    return Sample(notes=notes, tune=tune[order], weight=weight[order])


def weights(onset: Floats, end: Floats, tune: NDArray[np.bool_]) -> Floats:
    """Return the root of the length, little far from the tune; sums to the same for every song."""
    lead = np.sort(onset[tune])
    after = np.clip(np.searchsorted(lead, onset), 0, len(lead) - 1)
    before = np.clip(after - 1, 0, None)
    far = np.minimum(np.abs(onset - lead[before]), np.abs(onset - lead[after]))
    return np.where(far < 2.0, 1.0, 0.15) * np.sqrt(np.clip(end - onset, 0.05, 1.5))


def versions(folder: Path, name: str) -> list[Sample]:
    """Return the versions of a song of POP909."""
    rng = np.random.default_rng([SEED, int(name)])
    plain = pop909.song(folder, name, "flat")
    table = columns(plain)
    tune = pop909.is_tune(folder, name, "flat")
    weight = weights(table.onset, table.end, tune)
    found = [sample(table.onset, table.end, table.pitch, table.loudness, tune, weight)]

    held = pop909.song(folder, name, "flat-pedal")
    pedal = columns(held)
    tuned = pop909.is_tune(folder, name, "flat-pedal")
    found.append(
        sample(
            pedal.onset, pedal.end, pedal.pitch, pedal.loudness, tuned,
            weights(pedal.onset, np.minimum(pedal.end, pedal.onset + 0.3), tuned),
        )
    )  # fmt: skip

    beats = np.loadtxt(folder / f"{name}.beats.txt")[:, 0]
    quarters = np.interp(np.arange(0, len(beats) - 1, 0.25), np.arange(len(beats)), beats)
    places = np.arange(len(quarters))
    onset = np.round(np.interp(table.onset, quarters, places))
    end = np.maximum(np.round(np.interp(table.end, quarters, places)), onset + 1)
    step = rng.uniform(0.09, 0.2)
    even = np.full(len(tune), 80 / 127)
    found.append(sample(onset * step, end * step, table.pitch, even, tune, weight))

    pace = rng.uniform(0.6, 1.6)
    shorter = np.where(tune, rng.uniform(0.6, 1.0), rng.uniform(0.6, 1.0))
    onset = table.onset + rng.normal(0.0, 0.012, len(tune))
    length = np.maximum(table.duration * shorter * rng.uniform(0.9, 1.0, len(tune)), 0.03)
    louder = table.loudness + rng.normal(0.0, 0.06, len(tune)) + tune * rng.normal(0.0, 0.05)
    pitch = table.pitch + 12 * (~tune) * (rng.random() < 1 / 3)
    found.append(
        sample(
            onset * pace, (onset + length) * pace, pitch, np.clip(louder, 0.05, 1.0), tune, weight
        )
    )  # fmt: skip
    return found


def from_scores() -> list[Sample]:
    """Return the scores, each at a tempo of its own."""
    rng = np.random.default_rng(SEED)
    found = []
    for kind in scores.KINDS:
        for song in scores.songs(kind, odd=False):
            table = columns(song)
            pace = rng.uniform(0.7, 1.6)
            tune = table.part == 0
            weight = 2.0 * weights(table.onset, table.end, tune)
            found.append(
                sample(
                    table.onset * pace, table.end * pace, table.pitch, table.loudness, tune, weight
                )
            )
    return found


def matrix(found: dict[str, NDArray[np.float32]]) -> NDArray[np.float32]:
    return np.stack(list(found.values()), axis=1)


def fit(
    rows: list[NDArray[np.float32]],
    samples: list[Sample],
    names: list[str],
    given: argparse.Namespace,
) -> CatBoostClassifier:
    model = CatBoostClassifier(
        iterations=given.trees,
        depth=given.depth,
        learning_rate=given.rate,
        l2_leaf_reg=5,
        border_count=64,
        rsm=0.5,
        bootstrap_type="Bernoulli",
        subsample=0.7,
        random_seed=SEED,
        verbose=False,
        allow_writing_files=False,
    )
    model.fit(
        Pool(
            np.concatenate(rows),
            np.concatenate([s.tune for s in samples]).astype(int),
            weight=np.concatenate([s.weight for s in samples]),
            feature_names=names,
        )
    )
    return model


def judged(model: CatBoostClassifier, rows: NDArray[np.float32]) -> NDArray[np.float32]:
    return model.predict_proba(rows)[:, 1].astype(np.float32)


def unseen(
    rows: list[NDArray[np.float32]], samples: list[Sample], songs: list[int], names: list[str],
    given: argparse.Namespace,
) -> list[NDArray[np.float32]]:  # fmt: skip
    """Return for each sample the judgement of a model that was not trained on its song.

    Every second sample, other versions of one song than of the next, is enough to train on here.
    """
    found: dict[int, NDArray[np.float32]] = {}
    for fold in range(FOLDS):
        learn = [i for i, song in enumerate(songs) if song % FOLDS != fold and (song + i) % 2]
        model = fit([rows[i] for i in learn], [samples[i] for i in learn], names, given)
        found |= {i: judged(model, rows[i]) for i, song in enumerate(songs) if song % FOLDS == fold}
    return [found[i] for i in range(len(rows))]


def as_stage(model: CatBoostClassifier, names: list[str], path: Path) -> dict[str, Any]:
    """Return the trees in the form of ``tune_model.json``."""
    model.save_model(path, format="json")
    saved = json.loads(path.read_text())
    path.unlink()
    scale, (bias,) = saved["scale_and_bias"]
    place = [entry["flat_feature_index"] for entry in saved["features_info"]["float_features"]]
    trees = []
    for tree in saved["oblivious_trees"]:
        tests: list[str | float] = []
        for test in tree["splits"]:
            tests += [names[place[test["float_feature_index"]]], float(f"{test['border']:.5g}")]
        trees.append({"if": tests, "then": [round(v * scale, 3) for v in tree["leaf_values"]]})
    used = {name for tree in trees for name in tree["if"][::2]}
    return {"features": [n for n in names if n in used], "bias": round(bias, 5), "trees": trees}


def write(path: Path, stages: list[dict[str, Any]]) -> None:
    """Write the file with a line a tree."""
    text = json.dumps({"about": ABOUT}, indent=1)[:-2] + ',\n "stages": [\n'
    for number, stage in enumerate(stages):
        head = f'  {{\n   "bias": {stage["bias"]},\n   "features": {json.dumps(stage["features"])}'
        trees = ",\n".join(
            "    " + json.dumps(tree, separators=(",", ":")) for tree in stage["trees"]
        )
        text += f'{head},\n   "trees": [\n{trees}\n   ]\n  }}{"," if number == 0 else ""}\n'
    path.write_text(text + " ]\n}\n")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("output", type=Path)
    parser.add_argument("--most", type=int, default=1000, help="train on fewer songs")
    parser.add_argument("--trees", type=int, default=120)
    parser.add_argument("--depth", type=int, default=6)
    parser.add_argument("--rate", type=float, default=0.2)
    given = parser.parse_args()
    train, _ = pop909.held_out(pop909.names(given.folder))
    samples: list[Sample] = []
    songs: list[int] = []
    for number, name in enumerate(train[: given.most]):
        made = versions(given.folder, name)
        samples += made
        songs += [number] * len(made)
    extra = from_scores()
    samples += extra
    songs += range(len(extra))
    near = [near_features(s.notes, neighbours(s.notes)) for s in samples]
    names = list(near[0])
    rows = [matrix(found) for found in near]
    _say(f"{len(samples)} samples of {sum(map(len, rows))} notes, {len(names)} features")
    first = fit(rows, samples, names, given)
    likely = unseen(rows, samples, songs, names, given)
    wide = [
        wide_features(s.notes, neighbours(s.notes), p) for s, p in zip(samples, likely, strict=True)
    ]
    both = names + list(wide[0])
    rows = [np.concatenate((row, matrix(f)), axis=1) for row, f in zip(rows, wide, strict=True)]
    second = fit(rows, samples, both, given)
    for model, known in ((first, names), (second, both)):
        ranked = sorted(zip(model.get_feature_importance(), known, strict=True), reverse=True)
        _say(", ".join(f"{name} {weight:.1f}" for weight, name in ranked))
    scratch = given.output.with_suffix(".tmp")
    write(given.output, [as_stage(first, names, scratch), as_stage(second, both, scratch)])
    _say(f"{given.output.stat().st_size} bytes; now run tests.benchmarks.tune_finding")


def _say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
