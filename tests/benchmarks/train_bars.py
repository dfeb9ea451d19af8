"""Train the network that hears bar lines: ``python -m tests.benchmarks.train_bars PIECES OUT``.

PIECES is what `time_pieces` writes. Needs torch. OUT gets ``bars.npz``. Pieces marked as held out are only
measured on. A song is played (`performing`), bars of half the length are put into it or cut (`odd_bars`), it is put on
slots, cut, moved to another key; each slot is asked whether a beat and a bar line stand there (binary
cross-entropy), where that is known. Lengths and steps were chosen by a sixth of the training songs; then all were
trained on (``--all``). More steps than some thousand learn the songs by heart.
"""

from __future__ import annotations

import argparse
import lzma
import pickle
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np

from arranger.grid.attacks import find_attacks
from arranger.grid.track.evidence import find_evidence
from arranger.grid.track.networks.bars_heard import CHANNELS, SLOTS_A_BEAT, bar_frames
from arranger.grid.track.networks.frames import STARTING
from tests.benchmarks.cuts import Cuts
from tests.benchmarks.odd_bars import with_odd_bars
from tests.benchmarks.performing import Piece, Played, columns_of, perform
from tests.benchmarks.pop_bars import unknown_stretches

BLOCKS, CUT, BATCH = 8, 1024, 48
SIZES = (8, 12, 16, 20, 24)
"""Lengths of bars in slots, as `SLOT_LENGTHS` has them."""
TOP = 4e-3
"""Learning rate."""


def wide(column: Any) -> Any:
    return None if column is None else np.asarray(column, np.float64)


def piece_of(row: dict[str, Any]) -> Piece:
    columns = (wide(row[name]) for name in ("onset", "length"))
    whole = (row[name].astype(np.int64) for name in ("pitch", "part"))
    return Piece(*columns, *whole, wide(row["bars"]), wide(row["beats"]), wide(row["loud"]))


def known_of(row: dict[str, Any]) -> Any:
    known = row.get("known")
    return np.ones(len(row["bars"]), np.bool_) if known is None else known


def recorded(row: dict[str, Any], rng: np.random.Generator) -> Played:
    """Return a piece as the file has it played, at about its tempo."""
    scale = float(np.exp(rng.normal(0.0, 0.12)))
    heard = row["perf"]
    start, end = wide(heard["onset"]), wide(heard["end"])
    shift = start.min() - rng.uniform(0.0, 0.5)
    drum = np.zeros(len(start), np.bool_)
    notes, order = columns_of(
        (start - shift) * scale, (end - shift) * scale, heard["pitch"].astype(np.int64),
        heard["part"].astype(np.int64), wide(heard["loud"]), drum,
    )  # fmt: skip
    beats, bars = wide(row["perf_beats"]), wide(row["perf_bars"])
    beats, bars = beats[~np.isnan(beats)], bars[~np.isnan(bars)]
    quarters = wide(row["perf_beat_of"])[order]
    length = (notes.end_seconds - notes.onset_seconds) / (row["spq"] * scale)
    return Played(
        notes, quarters, quarters + length, (beats - shift) * scale, (bars - shift) * scale
    )


def thinned(piece: Piece, rng: np.random.Generator) -> Piece:
    """Return a piece with some notes taken out, now and then: by chance, or all that are high, or low."""
    kept = np.ones(len(piece.onset), np.bool_)
    way = rng.random()
    if way < 0.15:
        kept = rng.random(len(kept)) > rng.uniform(0.0, 0.5)
    elif way < 0.3:
        bound = np.quantile(piece.pitch, rng.uniform(0.2, 0.8))
        kept = piece.pitch <= bound if rng.random() < 0.5 else piece.pitch >= bound
    if kept.sum() < 30:
        return piece
    columns = (piece.onset, piece.length, piece.pitch, piece.part)
    loud = None if piece.loud is None else piece.loud[kept]
    return Piece(*(column[kept] for column in columns), piece.bars, piece.beats, loud)


def played(row: dict[str, Any], seed: int, odd_share: float) -> tuple[Played, Piece]:
    """Return one performance of a piece, by chance, and the piece."""
    rng = np.random.default_rng(seed)
    piece = piece_of(row)
    if "perf" in row and rng.random() < 0.3:
        return recorded(row, rng), piece
    if row["comp"] == "pop" and rng.random() < odd_share:
        piece = with_odd_bars(piece, known_of(row), rng)
    piece = thinned(piece, rng)
    width = float(np.median(np.diff(piece.beats)))
    if row["comp"] == "pop":
        quarter = row["spq"] * np.exp(rng.normal(0.0, 0.15)) if rng.random() < 0.75 else 0.6
        rubato = rng.choice((0.0, 0.0, 0.15, 0.3, 0.6))
        seconds, drums = quarter * width, rng.random() < 0.25
    else:
        seconds = float(np.clip(np.exp(rng.normal(np.log(0.66), 0.3)), 0.3, 1.5))
        rubato = 0.0 if rng.random() < 0.4 else rng.uniform(0.1, 1.2)
        drums = rng.random() < 0.1
    level = rng.random() < 0.12
    return perform(piece, seed, seconds, rubato, drums=drums, level=level), piece


def example(job: tuple[dict[str, Any], int, float]) -> tuple[Any, ...] | None:
    """Return frames, targets (frames, 2) and which frames' bar lines are known."""
    row, seed, odd_share = job
    try:
        return _example(row, *played(row, seed, odd_share), seed)
    except (ValueError, IndexError) as error:
        print(row["name"], seed, repr(error))
        return None


def _example(row: dict[str, Any], done: Played, piece: Piece, seed: int) -> tuple[Any, ...]:
    rng = np.random.default_rng(seed + 10**6)
    bars, beats, notes = piece.bars, piece.beats, done.notes
    width = float(np.median(np.diff(beats)))
    unit = 1.0 if rng.random() < 0.7 else width * rng.choice((0.5, 1.0), p=(0.05, 0.95))
    attacks = find_attacks(notes)
    noise = rng.normal(0.0, rng.choice((0.0, 0.0, 0.02, 0.05)), len(notes))
    start, end = done.quarters + noise, done.quarter_ends
    seconds = float(np.median(np.diff(done.beats))) / width * unit
    origin = np.floor(start.min() / unit * 4) / 4 * unit
    origin -= unit * rng.integers(0, 4) / rng.choice((1, 4))
    start, end = (start - origin) / unit, (end - origin) / unit
    frames = bar_frames(notes, attacks, find_evidence(notes, attacks), start, end, seconds)
    target = np.zeros((len(frames), 2), np.float32)
    slots = (bars - origin) / unit * SLOTS_A_BEAT
    for column, lines in enumerate(((beats - origin) / unit * SLOTS_A_BEAT, slots)):
        at = np.rint(lines).astype(int)
        target[at[(at >= 0) & (at < len(frames))], column] = 1.0
    known = np.zeros(len(frames), np.bool_)
    known[max(int(slots[0]) - 3, 0) : max(int(slots[-1]) + 1, 0)] = True
    stretches = unknown_stretches(bars, known_of(row))
    sizes = np.rint(np.diff(slots)).astype(int)
    odd = np.flatnonzero(~np.isin(sizes, SIZES))
    stretches += [(bars[place] - unit / 2, bars[place + 1] + unit / 2) for place in odd]
    for low, high in stretches:
        first, last = ((x - origin) / unit * SLOTS_A_BEAT for x in (low, high))
        begin, stop = max(np.ceil(first), 0), min(np.floor(last), len(frames) - 1)
        if stop >= begin:
            known[int(begin) : int(stop) + 1] = False
            target[int(begin) : int(stop) + 1, 1] = 0.0
    return frames.astype(np.float16), target, known


def network(width: int, drop: float) -> Any:
    """Return the torch module; the same sums as `arranger.grid.track.networks.network`."""
    import torch
    from torch import nn

    class Net(nn.Module):
        def __init__(self) -> None:
            super().__init__()
            self.first = nn.Conv1d(CHANNELS, width, 5, padding=2)
            spread = [1 << n for n in range(BLOCKS)]
            self.taps = nn.ModuleList(
                nn.Conv1d(width, width, 5, padding=2 * d, dilation=d) for d in spread
            )
            self.mix = nn.ModuleList(nn.Conv1d(width, width, 1) for _ in spread)
            for mix in self.mix:
                nn.init.normal_(mix.weight, std=0.3 / width**0.5)
            self.last = nn.Conv1d(width, 2, 1)
            self.drop = nn.Dropout1d(drop)

        def forward(self, x: Any, mask: Any) -> Any:
            x = torch.relu(self.first(x)) * mask
            for taps, mix in zip(self.taps, self.mix, strict=True):
                x = (x + mix(self.drop(torch.relu(taps(x)) * mask))) * mask
            return self.last(torch.relu(x))

    return Net()


def save(net: Any, path: Path) -> None:
    """Write the weights as `arranger.grid.track.networks.network` reads them."""

    def of(layer: Any) -> Any:
        return layer.weight.detach().float().cpu().numpy().transpose(2, 1, 0)

    arrays = {"first": of(net.first), "first_bias": net.first.bias}
    for n, (taps, mix) in enumerate(zip(net.taps, net.mix, strict=True)):
        arrays |= {f"block.{n}.taps": of(taps), f"block.{n}.bias": taps.bias}
        arrays |= {f"block.{n}.mix": of(mix)[0], f"block.{n}.mix_bias": mix.bias}
    arrays |= {"last": of(net.last)[0], "last_bias": net.last.bias}
    halves = {
        key: np.asarray(value if isinstance(value, np.ndarray) else value.detach().float().cpu())
        .astype(np.float16)
        for key, value in arrays.items()
    }  # fmt: skip
    np.savez(path, **halves)


class Pool:
    """Examples on the device, cut at random."""

    def __init__(self, examples: list[tuple[Any, ...]], device: str) -> None:
        import torch

        self.torch, self.device = torch, device
        self.cuts = Cuts([len(e[0]) for e in examples], CUT, device)
        self.frames = torch.from_numpy(np.concatenate([e[0] for e in examples])).to(device)
        self.target = torch.from_numpy(np.concatenate([e[1] for e in examples])).half().to(device)
        self.known = torch.from_numpy(np.concatenate([e[2] for e in examples])).to(device)

    def batch(self, rng: np.random.Generator, size: int, *, plain: bool = False) -> Any:
        torch = self.torch
        index, mask = self.cuts.drawn(rng, size)
        x = self.frames[index].float() * mask[..., None]
        if not plain:
            x = self.cuts.turned(rng, x, (STARTING, STARTING + 12))
            high = torch.from_numpy(rng.normal(0, 0.2, size)).float().to(self.device)
            x[:, :, 8:10] += high[:, None, None] * (x[:, :, 8:10] != 0)
            if rng.random() < 0.15:
                x[:, :, rng.integers(0, 8)] = 0
        known = self.known[index] & mask
        return x.transpose(1, 2), self.target[index].float(), mask, known


def losses(model: Any, batch: Any) -> Any:
    """Return the cross-entropy of beats and that of bar lines."""
    import torch

    x, y, mask, known = batch
    logits = model(x, mask[:, None].float()).transpose(1, 2)
    loss = torch.nn.functional.binary_cross_entropy_with_logits(logits, y, reduction="none")
    return (loss * known[..., None]).sum((0, 1)) / known.sum()


def train(pools: list[Pool], steps: int, device: str, drop: float, width: int, seed: int) -> Any:
    """Return the mean of the network over the last steps of a training."""
    import torch

    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    torch.manual_seed(seed)
    net, average = network(width, drop).to(device), network(width, drop).to(device)
    average.load_state_dict(net.state_dict())
    rng = np.random.default_rng(seed)
    optimiser = torch.optim.AdamW(net.parameters(), lr=TOP, weight_decay=0.03)
    for step in range(1, steps + 1):
        rate = TOP * min(1.0, step / 300) * (0.5 + 0.5 * np.cos(np.pi * step / steps)) + 1e-5
        for group in optimiser.param_groups:
            group["lr"] = rate
        net.train()
        loss = losses(net, pools[0].batch(rng, BATCH)).sum()
        optimiser.zero_grad()
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        optimiser.step()
        keep = min(0.998, step / (step + 20))
        with torch.no_grad():
            for ours, theirs in zip(average.parameters(), net.parameters(), strict=True):
                ours.lerp_(theirs, 1 - keep)
        if step % 500 == 0 or step == steps:
            average.eval()
            found = [measured(average, pool) for pool in pools[1:]]
            print(step, round(loss.item(), 4), "check, held", found, flush=True)
    return average


def measured(model: Any, pool: Pool) -> list[float]:
    import torch

    fixed = np.random.default_rng(1)
    with torch.no_grad():
        batches = [pool.batch(fixed, 32, plain=True) for _ in range(8)]
        rows = [losses(model, batch) for batch in batches]
    return [round(value, 4) for value in torch.stack(rows).mean(0).tolist()]


def kind_of(number: int, row: dict[str, Any]) -> str:
    """Return "held", "check" (one piece in 12, one pop song in 6, to choose by) or "train"."""
    every = 6 if row["comp"] == "pop" else 12
    return "held" if row["held"] else "train" if number % every else "check"


def jobs_of(
    rows: list[dict[str, Any]], variants: int, kind: str, odd_share: float
) -> list[tuple[dict[str, Any], int, float]]:
    found = []
    for number, row in enumerate(rows):
        if kind_of(number, row) != kind or not row["sure"]:
            continue
        pop = row["comp"] == "pop"
        times = variants if pop else max(variants // 4, 1)
        if pop and row["metre"] != (4, 4):
            times *= 2
        if kind == "held":
            times = 2 if pop else 1
        share = 0.0 if kind == "held" else odd_share
        found += [(row, 1000 * number + n + 17, share) for n in range(times)]
    return found


def examples_of(jobs: list[Any], workers: int) -> list[tuple[Any, ...]]:
    with ProcessPoolExecutor(workers) as pool:
        return [e for e in pool.map(example, jobs, chunksize=8) if e is not None]


def main() -> None:
    import torch

    asked = argparse.ArgumentParser()
    asked.add_argument("pieces", type=Path)
    asked.add_argument("out", type=Path)
    asked.add_argument("--steps", type=int, default=4000)
    asked.add_argument("--variants", type=int, default=24)
    asked.add_argument("--odd-share", type=float, default=0.5)
    asked.add_argument("--jobs", type=int, default=2)
    asked.add_argument("--drop", type=float, default=0.3)
    asked.add_argument("--width", type=int, default=40)
    asked.add_argument("--every", type=int, default=1)
    asked.add_argument("--all", action="store_true", help="train on the songs to choose by, too")
    given = asked.parse_args()
    torch.set_num_threads(2)
    with lzma.open(given.pieces) as file:
        rows = pickle.load(file)[:: given.every]
    device = "cuda" if torch.cuda.is_available() else "cpu"
    begin, pools = time.time(), []
    for kind in ("train", "check", "held"):
        jobs = jobs_of(rows, given.variants, kind, given.odd_share)
        if given.all and kind == "train":
            jobs += jobs_of(rows, given.variants, "check", given.odd_share)
        made = examples_of(jobs, given.jobs)
        pools.append(Pool(made, device))
        print(kind, len(made), "examples", f"{time.time() - begin:.0f} s", flush=True)
    given.out.mkdir(parents=True, exist_ok=True)
    net = train(pools, given.steps, device, given.drop, given.width, seed=0)
    save(net, given.out / "bars.npz")


if __name__ == "__main__":
    main()
