"""Train the network of ``arranger/reduce/worth/tune_model.npy``.

    pip install torch          # 2.11 made the weights in force, on one GPU in six minutes
    python -m tests.benchmarks.tune_samples FOLDER SAMPLES.npz
    python -m tests.benchmarks.train_tune_model SAMPLES.npz arranger/reduce/worth/tune_model.npy

FOLDER holds POP909. The songs whose number three divides are in no sample. With ``--validate`` a fifth
of the samples is kept back as well, and measured at the end: choices were made by that, not by the
songs kept back for `tune_finding`.

Two losses are added: cross entropy of each note, and of the notes that sound at random moments of the
tune, which compete. AdamW, cosine schedule, mean of the weights over the last thousand steps.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import replace
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import torch
from numpy.typing import NDArray
from torch import nn
from torch.nn import functional

from arranger.reduce.worth.tune_model import (
    AROUND,
    CHUNK,
    EDGE,
    KERNELS,
    MESSAGE,
    REACH,
    SELF,
    SHAPES,
    SHORTEST,
    UNITS,
    VALUES,
    WARM_UP,
)  # fmt: skip
from tests.benchmarks.tune_versions import LEVEL, Version, as_it_is, moments, varied, weighed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from torch import Tensor

Sample = dict[str, NDArray[np.generic]]

SEED = 1
CROP = 6 * CHUNK
BATCH = 32
MOMENTS = 96
SCORES = 0.25
"""Share of scores among what is trained on."""
WHOLE = 0.9
"""Share of stretches that are as long as they can be; the others are like little pieces."""
RATE, DROPOUT = 2e-3, 0.1


def read(path: Path) -> list[Sample]:
    """Return the samples written by `tune_samples`; pop songs are called "pop:NNN"."""
    with np.load(path, allow_pickle=False) as file:
        columns = {name: file[name] for name in file.files}
    ends, beats, names = (columns.pop(name) for name in ("ends", "beat_ends", "name"))
    pieces = {
        name: np.split(column, (beats if name == "beats" else ends)[:-1])
        for name, column in columns.items()
    }
    return [
        {key: split[k] for key, split in pieces.items()} | {"name": name}
        for k, name in enumerate(names)
    ]


class Crops(torch.utils.data.IterableDataset[tuple[NDArray[np.generic], ...]]):
    """Endless random stretches of random versions: columns, candidates, their state."""

    def __init__(self, samples: list[Sample]) -> None:
        self.kinds = [
            [s for s in samples if s["name"].startswith("pop:") == pop] for pop in (True, False)
        ]

    def __iter__(self) -> Iterator[tuple[NDArray[np.generic], ...]]:
        worker = torch.utils.data.get_worker_info()
        rng = np.random.default_rng([SEED, worker.id if worker else 0])
        while True:
            songs = self.kinds[int(rng.random() < SCORES)]
            notes = varied(songs[rng.integers(len(songs))], rng)
            order = np.lexsort((notes.pitch, notes.onset))
            size = CROP if rng.random() < WHOLE else int(rng.integers(4, 100))
            first = rng.integers(max(len(order) - size, 0) + 1)
            notes = weighed(notes.at(order[first : first + size]))
            yield _columns(notes), *moments(notes, rng, MOMENTS)


def _columns(notes: Version) -> NDArray[np.float32]:
    """Return onset, length, pitch, loudness, tune, weight, whether there is a note; (7, CROP)."""
    many = len(notes.onset)
    rows = (notes.onset - notes.onset[0], np.maximum(notes.length, SHORTEST), notes.pitch,
            notes.loudness, notes.tune, notes.weight, np.ones(many))  # fmt: skip
    found = np.zeros((len(rows), max(CROP, many)), dtype=np.float32)
    found[1] = SHORTEST
    found[:, :many] = rows
    return found


class Network(nn.Module):
    """What `tune_model` calculates, for batches; shape (batch, 7, notes) to log odds."""

    def __init__(self) -> None:
        super().__init__()
        self.message = nn.Linear(EDGE, MESSAGE)
        self.kernel = nn.Linear(MESSAGE, KERNELS)
        self.value = nn.Linear(SELF, VALUES)
        self.around = nn.Linear(VALUES * KERNELS + KERNELS + SELF, AROUND)
        self.layers = nn.ModuleList(
            nn.ModuleList(nn.GRU(size, UNITS, batch_first=True) for _ in range(2))
            for size in (AROUND, 2 * UNITS)
        )
        self.song = nn.Linear(2 * UNITS, 2 * UNITS)
        self.skip = nn.Linear(AROUND, 2 * UNITS)
        self.odds = nn.Linear(2 * UNITS, 1)
        self.dropout = nn.Dropout(DROPOUT)

    def forward(self, columns: Tensor) -> Tensor:
        there = columns[:, 6]
        where, beside = distances(columns)
        kernel = self.kernel(functional.relu(self.message(where))) * beside[..., None]
        own = in_song(columns)
        value = functional.relu(self.value(own)) * there[..., None]
        windows = functional.pad(value, (0, 0, REACH, REACH)).unfold(1, 2 * REACH + 1, 1)
        summed = torch.matmul(windows, kernel).flatten(2)
        seen = self.around(torch.cat((summed, kernel.sum(2), own), -1))
        around = self.dropout(functional.relu(seen)) * there[..., None]
        line = _both_ways(around, self.layers[0]) * there[..., None]
        whole = torch.tanh(self.song(line.sum(1) / there.sum(1, keepdim=True)))
        line = _both_ways(self.dropout(line + whole[:, None]) * there[..., None], self.layers[1])
        line = self.dropout(functional.relu(line + self.skip(around)))
        return self.odds(line)[..., 0]


def _both_ways(seen: Tensor, units: nn.ModuleList) -> Tensor:
    """Read in chunks, each after a warm-up."""
    batch, many, _ = seen.shape
    short = -many % CHUNK
    found = []
    for backwards, unit in enumerate(units):
        way = seen.flip(1) if backwards else seen
        way = functional.pad(way, (0, 0, WARM_UP, short))
        chunks = way.unfold(1, WARM_UP + CHUNK, CHUNK).transpose(2, 3)
        states = unit(chunks.flatten(0, 1))[0][:, WARM_UP:].reshape(batch, -1, UNITS)[:, :many]
        found.append(states.flip(1) if backwards else states)
    return torch.cat(found, -1)


def distances(columns: Tensor) -> tuple[Tensor, Tensor]:
    """See `tune_model.distances`; the features stand last."""

    def beside(values: Tensor) -> Tensor:
        return functional.pad(values, (REACH, REACH)).unfold(1, 2 * REACH + 1, 1)

    onset, length, pitch, loudness = columns[:, :4].unbind(1)
    there = beside(columns[:, 6])
    own = length[..., None]
    start = beside(onset) - onset[..., None]
    last = torch.where(there > 0, beside(length), own)
    stop = start + last
    interval = beside(pitch) - pitch[..., None]
    times = (start / 0.05, start / 0.3, start / 1.5, stop / 0.1, stop / 0.6, (start - own) / 0.1,
             (start - own) / 0.6, (stop - own) / 0.3, interval / 1.5, interval / 5, interval / 14,
             torch.log(last / own) / 1.5)  # fmt: skip
    octave = (interval.remainder(12) == 0).float()
    louder = 4 * (beside(loudness) - loudness[..., None])
    return torch.stack([*map(torch.tanh, times), octave, louder], -1), there


def in_song(columns: Tensor) -> Tensor:
    """See `tune_model.in_song`."""
    length, pitch, loudness = columns[:, 1:4].unbind(1)
    there = columns[:, 6]
    many = there.sum(1, keepdim=True)
    weight = torch.sqrt(length.clamp(max=2.0)) * there
    total = weight.sum(1, keepdim=True)
    height = pitch - (pitch * weight).sum(1, keepdim=True) / total
    spread = torch.sqrt(((height**2 * weight).sum(1, keepdim=True) / total).clamp(min=1.0))
    louder = loudness - (loudness * there).sum(1, keepdim=True) / many
    deviation = torch.sqrt((louder**2 * there).sum(1, keepdim=True) / many)
    found = (torch.log(length), torch.tanh(height / 6), torch.tanh(height / 20),
             torch.tanh(height / spread / 2), louder * 4, torch.tanh(louder / (deviation + 0.02) / 2),
             (deviation * 5).expand_as(louder))  # fmt: skip
    return torch.stack(found, -1)


def loss_of(odds: Tensor, columns: Tensor, notes: Tensor, state: Tensor) -> Tensor:
    by_note = functional.binary_cross_entropy_with_logits(odds, columns[:, 4], reduction="none")
    rivals = odds.gather(1, notes.flatten(1)).view(notes.shape)
    every = torch.logsumexp(rivals.masked_fill(state == 0, -1e4), -1)
    right = torch.logsumexp(rivals.masked_fill(state < 2, -1e4), -1)
    asked = (state > 0).any(-1)
    weight = columns[:, 5]
    return (by_note * weight).sum() / weight.sum() + (every - right)[asked].mean()


def train(samples: list[Sample], steps: int, workers: int, device: str) -> Network:
    torch.manual_seed(SEED)
    net, mean = Network().to(device), Network().to(device)
    mean.load_state_dict(net.state_dict())
    optimiser = torch.optim.AdamW(net.parameters(), lr=RATE, weight_decay=0.01, betas=(0.9, 0.98))
    loader = torch.utils.data.DataLoader(Crops(samples), batch_size=BATCH, num_workers=workers)
    began, shown = time.time(), 0.0
    for step, batch in enumerate(islice(loader, steps)):
        columns, notes, state = (part.to(device, non_blocking=True) for part in batch)
        for group in optimiser.param_groups:
            group["lr"] = RATE * min(1, step / 200) * (1.01 + np.cos(np.pi * step / steps)) / 2
        loss = loss_of(net(columns), columns, notes, state)
        optimiser.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        optimiser.step()
        with torch.no_grad():
            torch._foreach_lerp_(
                list(mean.parameters()), list(net.parameters()), max(0.001, 10 / (step + 10))
            )
        if step % 500 == 499:
            _say(f"{step + 1} steps, {time.time() - began:.0f} s, loss {shown / 500:.4f}")
            shown = 0.0
        shown += float(loss.detach())
    return mean


def write(net: Network, path: Path) -> None:
    """Write the weights in the order of `tune_model.SHAPES`, in half precision."""
    state = {name: value.detach().cpu().numpy() for name, value in net.state_dict().items()}
    found = {}
    for name in ("message", "kernel", "value", "around", "song", "skip", "odds"):
        found |= {name: state[f"{name}.weight"].T, f"{name}_bias": state[f"{name}.bias"]}
    for layer in range(2):
        for name, short in (("read", "ih"), ("keep", "hh")):
            ways = [f"layers.{layer}.{way}.{{}}_{short}_l0" for way in range(2)]
            weights = np.stack([state[way.format("weight")].T for way in ways])
            found |= {f"{name}{layer + 1}": weights}
            biases = np.stack([state[way.format("bias")] for way in ways])
            found |= {f"{name}{layer + 1}_bias": biases}
    flat = [found[name].reshape(shape).ravel() for name, shape in SHAPES.items()]
    np.save(path, np.concatenate(flat).astype(np.float16))


@torch.no_grad()
def share_found(net: Network, notes: Version) -> float:
    """Return at how many of some moments of the tune its pitch is the likeliest."""
    net.eval()
    notes = notes.at(np.lexsort((notes.pitch, notes.onset)))
    columns = torch.from_numpy(_columns(notes))[None].to(next(net.parameters()).device)
    odds = net(columns)[0].cpu().numpy()
    place, state = moments(notes, np.random.default_rng(SEED), 1000)
    best = np.where(state > 0, odds[place], -np.inf).argmax(axis=1)
    return float(np.mean(state[np.arange(len(best)), best] == 2))


def validate(net: Network, samples: list[Sample]) -> None:
    for held in (False, True):
        for even in (False, True):
            shares: dict[str, list[float]] = {}
            for sample in samples:
                notes = as_it_is(sample, held=held)
                if even:
                    notes = replace(notes, loudness=np.full(len(notes.onset), LEVEL))
                shares.setdefault(sample["name"].split(":")[0], []).append(share_found(net, notes))
            cells = "".join(f"  {kind} {np.mean(found):.4f}" for kind, found in shares.items())
            _say(f"pedal {held:d}, equally loud {even:d}:{cells}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("samples", type=Path)
    parser.add_argument("output", type=Path)
    parser.add_argument("--steps", type=int, default=16_000)
    parser.add_argument("--workers", type=int, default=7)
    parser.add_argument("--validate", action="store_true")
    given = parser.parse_args()
    samples = read(given.samples)
    kept = samples[::5] if given.validate else []
    learnt = [sample for k, sample in enumerate(samples) if k % 5 or not given.validate]
    device = "cuda" if torch.cuda.is_available() else "cpu"
    torch.backends.cuda.matmul.allow_tf32 = True
    net = train(learnt, given.steps, given.workers, device)
    validate(net, kept)
    write(net, given.output)
    _say(f"torch {torch.__version__} on {device}, {given.output.stat().st_size} bytes")


def _say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
