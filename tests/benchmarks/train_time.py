"""Train the network that hears beats: ``python -m tests.benchmarks.train_time PIECES OUT``.

PIECES is what `time_pieces` writes. Needs torch. OUT gets ``beats.npz``. Pieces marked as held out are only
measured on. ``--minutes M``, ``--variants V`` (how many performances of a piece), ``--jobs N``. For
bar lines see `train_bars`.

A song is played (`performing`), put on frames, cut, moved to another key; what
is asked is at which frames a beat and a bar line stand (binary cross-entropy).
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
from arranger.grid.track.beats_heard import FRAMES_A_SECOND, beat_frames
from arranger.grid.track.evidence import find_evidence
from arranger.grid.track.frames import CHANNELS
from tests.benchmarks.performing import Piece, Played, columns_of, perform

WIDTH = {"beats": 40}
BLOCKS = {"beats": 11}
CUT = {"beats": 3072}
BATCH = {"beats": 24}
CHROMA = 13
"""The first of the columns of pitch classes."""


def wide(column: Any) -> Any:
    return None if column is None else np.asarray(column, np.float64)


def piece_of(row: dict[str, Any]) -> Piece:
    columns = (wide(row[name]) for name in ("onset", "length"))
    whole = (row[name].astype(np.int64) for name in ("pitch", "part"))
    return Piece(*columns, *whole, wide(row["bars"]), wide(row["beats"]), wide(row["loud"]))


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
    per_quarter = row["spq"] * scale
    length = (notes.end_seconds - notes.onset_seconds) / per_quarter
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


def played(row: dict[str, Any], seed: int) -> Played:
    """Return one performance of a piece, by chance."""
    rng = np.random.default_rng(seed)
    if "perf" in row and rng.random() < 0.4:
        return recorded(row, rng)
    piece = thinned(piece_of(row), rng)
    width = float(np.median(np.diff(piece.beats)))
    if row["comp"] == "pop":
        quarter = row["spq"] * np.exp(rng.normal(0.0, 0.15)) if rng.random() < 0.75 else 0.6
        rubato = rng.choice((0.0, 0.0, 0.15, 0.3, 0.6))
        seconds, drums = quarter * width, rng.random() < 0.25
    else:
        seconds = float(np.clip(np.exp(rng.normal(np.log(0.66), 0.3)), 0.3, 1.5))
        rubato = 0.0 if rng.random() < 0.2 else rng.uniform(0.1, 1.2)
        drums = rng.random() < 0.1
    return perform(piece, seed, seconds, rubato, drums=drums, level=rng.random() < 0.12)


def example(job: tuple[dict[str, Any], int, str]) -> tuple[Any, ...] | None:
    """Return frames, targets (frames, 2) and the first and last frame that the truth covers."""
    row, seed, _ = job
    try:
        done = played(row, seed)
        return _beats_example(done)
    except (ValueError, IndexError) as error:
        print(row["name"], seed, repr(error))
        return None


def _beats_example(done: Played) -> tuple[Any, ...]:
    notes = done.notes
    attacks = find_attacks(notes)
    evidence = find_evidence(notes, attacks)
    frames = beat_frames(notes, attacks, evidence)
    begin = evidence.seconds[0]
    target = np.zeros((len(frames), 2), np.float32)
    for column, times in enumerate((done.beats, done.bars)):
        at = (times - begin) * FRAMES_A_SECOND + 2
        near = np.rint(at).astype(int)
        for off, worth in ((-1, 0.5), (1, 0.5), (0, 1.0)):
            inside = near[(near + off >= 0) & (near + off < len(frames))] + off
            target[inside, column] = np.maximum(target[inside, column], worth)
    first, last = (done.beats[[0, -1]] - begin) * FRAMES_A_SECOND
    return (
        frames.astype(np.float16),
        target,
        max(int(first) - 5, 0),
        min(int(last) + 5, len(frames)),
    )


def network(which: str, drop: float) -> Any:
    """Return the torch module; the same sums as `arranger.grid.track.network`."""
    import torch
    from torch import nn

    class Net(nn.Module):
        def __init__(self) -> None:
            super().__init__()
            width = WIDTH[which]
            self.first = nn.Conv1d(CHANNELS, width, 5, padding=2)
            spread = [1 << n for n in range(BLOCKS[which])]
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
    """Write the weights as `arranger.grid.track.network` reads them."""

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

    def __init__(self, examples: list[tuple[Any, ...]], device: str, cut: int) -> None:
        import torch

        self.torch, self.device, self.cut = torch, device, cut
        sizes = np.array([len(e[0]) for e in examples])
        self.starts = np.concatenate(([0], np.cumsum(sizes)))
        self.frames = torch.from_numpy(np.concatenate([e[0] for e in examples])).to(device)
        self.target = torch.from_numpy(np.concatenate([e[1] for e in examples])).half().to(device)
        truth = np.zeros(self.starts[-1], np.float32)
        for start, (_, _, first, last) in zip(self.starts[:-1], examples, strict=True):
            truth[start + first : start + last] = 1
        self.truth = torch.from_numpy(truth).to(device)
        self.sizes = sizes
        self.odds = np.minimum(sizes, 1.5 * cut) / np.minimum(sizes, 1.5 * cut).sum()

    def batch(self, rng: np.random.Generator, size: int, *, plain: bool = False) -> Any:
        torch = self.torch
        which = rng.choice(len(self.sizes), size, p=self.odds)
        room = np.maximum(self.sizes[which] - self.cut, 0)
        shift = (rng.random(size) * (room + 1)).astype(int)
        # often at the very start or end, where there is less to go by
        shift = np.where(rng.random(size) < 0.15, 0, shift)
        length = np.minimum(self.sizes[which] - shift, self.cut)
        at = torch.from_numpy(self.starts[which] + shift).to(self.device)
        inside = torch.arange(self.cut, device=self.device)[None]
        mask = inside < torch.from_numpy(length).to(self.device)[:, None]
        index = torch.where(mask, at[:, None] + inside, at[:, None])
        x = self.frames[index].float() * mask[..., None]
        if not plain:
            turn = torch.from_numpy(rng.integers(0, 12, size)).to(self.device)
            order = torch.arange(CHANNELS, device=self.device).repeat(size, 1)
            classes = (torch.arange(12, device=self.device)[None] + turn[:, None]) % 12
            order[:, CHROMA : CHROMA + 12] = CHROMA + classes
            order[:, CHROMA + 12 : CHROMA + 24] = CHROMA + 12 + classes
            x = torch.gather(x, 2, order[:, None].expand(-1, self.cut, -1))
            high = torch.from_numpy(rng.normal(0, 0.2, size)).float().to(self.device)
            x[:, :, 8:10] += high[:, None, None] * (x[:, :, 8:10] != 0)
            if rng.random() < 0.15:
                x[:, :, rng.integers(0, 8)] = 0
        return x.transpose(1, 2), self.target[index].float(), mask, self.truth[index] * mask


def train(
    which: str,
    pool: Pool,
    check: Pool,
    held: Pool,
    minutes: float,
    out: Path,
    device: str,
    drop: float,
) -> None:
    import torch

    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    net = network(which, drop).to(device)
    average = network(which, drop).to(device)
    average.load_state_dict(net.state_dict())
    top = 4e-3
    optimiser = torch.optim.AdamW(net.parameters(), lr=top, weight_decay=0.02)
    rng, start = np.random.default_rng(0), time.time()
    told, step, summed = start, 0, 0.0
    weight = torch.tensor([1.0, 1.0], device=device)

    def loss_of(model: Any, batch: Any) -> Any:
        x, y, mask, truth = batch
        logits = model(x, mask[:, None].float()).transpose(1, 2)
        loss = torch.nn.functional.binary_cross_entropy_with_logits(logits, y, reduction="none")
        return (loss * truth[..., None] * weight).sum((0, 1)) / truth.sum()

    def measured(model: Any, other: Pool) -> list[float]:
        fixed = np.random.default_rng(1)
        with torch.no_grad():
            rows = [loss_of(model, other.batch(fixed, 32, plain=True)) for _ in range(12)]
            return [round(value, 4) for value in torch.stack(rows).mean(0).tolist()]

    best = np.inf
    while (done := (time.time() - start) / (60 * minutes)) < 1:
        rate = top * min(1.0, (step + 1) / 300) * (0.5 + 0.5 * np.cos(np.pi * done)) + 1e-5
        for group in optimiser.param_groups:
            group["lr"] = rate
        net.train()
        loss = loss_of(net, pool.batch(rng, BATCH[which])).sum()
        optimiser.zero_grad()
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        optimiser.step()
        step += 1
        keep = min(0.999, step / (step + 20))
        with torch.no_grad():
            for ours, theirs in zip(average.parameters(), net.parameters(), strict=True):
                ours.lerp_(theirs, 1 - keep)
        if step % 50 == 0:
            summed = (
                float(loss.detach()) if not summed else 0.9 * summed + 0.1 * float(loss.detach())
            )
        if time.time() - told > 12 or time.time() - start > 60 * minutes:
            told = time.time()
            average.eval()
            found = [measured(average, other) for other in (check, held)]
            print(which, step, f"{done:.2f} train {summed:.4f} check, held", found, flush=True)
            if sum(found[0]) < best:
                best = sum(found[0])
                save(average, out / f"{which}.npz")


def kind_of(number: int, row: dict[str, Any]) -> str:
    """Return "held", "check" (one piece in 12, to stop by) or "train"."""
    return "held" if row["held"] else "train" if number % 12 else "check"


def jobs_of(rows: list[dict[str, Any]], which: str, variants: int, kind: str) -> list[Any]:
    found = []
    for number, row in enumerate(rows):
        if kind_of(number, row) != kind or not row["sure"]:
            continue
        short = row["comp"] in {"ryansMammoth", "oneills1850", "essenFolksong", "miscFolk"}
        odd = row["comp"] == "pop" and row["metre"] != (4, 4)
        times = (
            1
            if kind != "train"
            else max(variants // 3, 1)
            if short
            else variants * (2 if odd else 1)
        )
        if row["comp"] in {
            "beethoven",
            "haydn",
            "schubert",
            "beach",
            "handel",
            "cpebach",
            "weber",
            "verdi",
        }:
            times *= 2
        found += [(row, 1000 * number + n + 17, which) for n in range(times)]
    return found


def main() -> None:
    import torch

    torch.set_num_threads(2)
    asked = argparse.ArgumentParser()
    asked.add_argument("pieces", type=Path)
    asked.add_argument("out", type=Path)
    asked.add_argument("--which", default="beats")
    asked.add_argument("--minutes", type=float, default=4.0)
    asked.add_argument("--variants", type=int, default=8)
    asked.add_argument("--jobs", type=int, default=2)
    asked.add_argument("--drop", type=float, default=0.25)
    asked.add_argument("--every", type=int, default=1)
    given = asked.parse_args()
    with lzma.open(given.pieces) as file:
        rows = pickle.load(file)[:: given.every]
    device = "cuda" if torch.cuda.is_available() else "cpu"
    begin, pools = time.time(), []
    for kind in ("train", "check", "held"):
        jobs = jobs_of(rows, given.which, given.variants, kind)
        with ProcessPoolExecutor(given.jobs) as workers:
            made = [e for e in workers.map(example, jobs, chunksize=8) if e is not None]
        pools.append(Pool(made, device, CUT[given.which]))
        print(
            given.which,
            len(made),
            "examples",
            pools[-1].starts[-1],
            f"{time.time() - begin:.0f} s",
            flush=True,
        )
    train(given.which, *pools, given.minutes, given.out, device, given.drop)


if __name__ == "__main__":
    main()
