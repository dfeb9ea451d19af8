"""Train the network that hears beats and bars: ``python -m tests.benchmarks.train_beats PIECES OUT``.

PIECES is what `time_pieces` writes. Needs torch. OUT gets ``beats.npz``. ``--minutes M``, ``--variants V``
(how many performances of a piece), ``--jobs N``, ``--every N``, ``--width W``, ``--seed S``.

Each piece is given another dress (`dressing`) and played (`playing`); pop songs also as they were
recorded. Asked is at which frames beats and bar lines stand (binary cross-entropy), and of each frame
how many beats its bar has and whether they divide in three. Composers held out are measured on
alone, with the other performer (`performing`).
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
from arranger.grid.track.networks.beat_frames import (
    BEFORE,
    CHANNELS,
    CHROMA,
    FRAMES_A_SECOND,
    beat_frames,
)
from tests.benchmarks.cuts import Cuts
from tests.benchmarks.dressing import dressed, is_compound
from tests.benchmarks.performing import Piece, Played, perform
from tests.benchmarks.playing import play_freely
from tests.benchmarks.train_bars import piece_of, recorded, thinned

CUT, BATCH = 3072, 48
NARROW, TAKEN = 32, 4
"""Width of the inner layers at full rate; frames that the wide layers take together."""
OUTER = (1, 2, 4)
SPREADS = (1, 2, 4, 8, 16, 32, 64, 128, 1, 8)
TOLD = ((0, 1.0), (1, 0.9), (-1, 0.9), (2, 0.5), (-2, 0.5), (3, 0.15), (-3, 0.15))
"""What frames beside a beat count as."""
METRES = (1, 2, 3, 4, 5, 6)
"""Beats a bar, and then: whether beats divide in three. 5 stands for all others up to 6."""
QUARTERS_TEMPO = (0.62, 0.36)
FEWEST_A_SECOND, MOST_A_SECOND = 0.7, 15.0
COMPOSERS_OFTEN = {
    "beethoven",
    "haydn",
    "schubert",
    "beach",
    "handel",
    "cpebach",
    "weber",
    "verdi",
    "bach",
}
TUNES = {"ryansMammoth", "oneills1850", "essenFolksong", "miscFolk"}
SHORT_BEATS = 90
CHECK_RUBATO = (0.0, 0.3, 0.6, 1.0)


def played(row: dict[str, Any], seed: int, *, check: bool = False) -> tuple[Played, Piece]:
    """Return one performance of a piece, by chance."""
    rng = np.random.default_rng(seed)
    piece = piece_of(row)
    if check:
        width = float(np.median(np.diff(piece.beats)))
        free = np.clip(np.exp(rng.normal(np.log(0.66), 0.3)), 0.35, 1.3)
        seconds = row["spq"] * width if row["spq"] else float(free)
        return perform(piece, seed, seconds, CHECK_RUBATO[seed % 4]), piece
    if "perf" in row and rng.random() < 0.45:
        return recorded(row, rng), piece
    piece = thinned(repeated(piece, rng), rng)
    if row["comp"] != "pop" or rng.random() < 0.3:
        piece = dressed(piece, rng)
    width = float(np.median(np.diff(piece.beats)))
    if row["comp"] == "pop":
        seconds = row["spq"] * np.exp(rng.normal(0.0, 0.2)) * width
        rubato = float(rng.choice((0.0, 0.0, 0.15, 0.3, 0.8)))
        drums = rng.random() < 0.3
    else:
        seconds = float(np.exp(rng.normal(np.log(QUARTERS_TEMPO[0]), QUARTERS_TEMPO[1])))
        rubato = 0.0 if rng.random() < 0.12 else rng.uniform(0.05, 1.3)
        drums = rng.random() < 0.1
    seconds *= 1.12 if is_compound(piece) else 1.0
    attacks = len(np.unique(np.round(piece.onset, 2))) / max(np.ptp(piece.onset) / width, 1.0)
    seconds = float(np.clip(seconds, attacks / MOST_A_SECOND, attacks / FEWEST_A_SECOND))
    seconds = float(np.clip(seconds, 0.26, 1.7))
    return play_freely(piece, rng, seconds, rubato, drums=drums), piece


def repeated(piece: Piece, rng: np.random.Generator) -> Piece:
    """Return a short piece two or three times in a row, mostly."""
    if len(piece.beats) > SHORT_BEATS or rng.random() < 0.4:
        return piece
    shift = float(piece.bars[-1] - piece.bars[0] + np.median(np.diff(piece.bars)))
    times = range(int(rng.integers(2, 4)))
    first = piece.beats >= piece.bars[0] - 1e-6
    beats = [piece.beats if not n else piece.beats[first] + n * shift for n in times]
    onset = np.concatenate([piece.onset + n * shift for n in times])
    bars = np.concatenate([piece.bars + n * shift for n in times])
    rest = (np.tile(column, len(times)) for column in (piece.length, piece.pitch, piece.part))
    return Piece(onset, *rest, bars, np.concatenate(beats))


def example(job: tuple[dict[str, Any], int, bool]) -> tuple[Any, ...] | None:
    """Return frames, targets (frames, 2), metre (frames,), and the first and last frame that are known."""
    row, seed, check = job
    try:
        done, piece = played(row, seed, check=check)
        notes = done.notes
        attacks = find_attacks(notes)
        evidence = find_evidence(notes, attacks)
        frames = beat_frames(notes, attacks, evidence)
        return frames.astype(np.float16), *targets(done, piece, evidence.seconds[0], len(frames))
    except (ValueError, IndexError) as error:
        print(row["name"], seed, repr(error))
        return None


def targets(done: Played, piece: Piece, begin: float, count: int) -> tuple[Any, ...]:
    target = np.zeros((count, 2), np.float32)
    for column, times in enumerate((done.beats, done.bars)):
        near = np.rint((times - begin) * FRAMES_A_SECOND + BEFORE).astype(int)
        for off, worth in TOLD:
            inside = near[(near + off >= 0) & (near + off < count)] + off
            target[inside, column] = np.maximum(target[inside, column], worth)
    metre = np.full(count, -1, np.int8)
    lines = (done.bars - begin) * FRAMES_A_SECOND + BEFORE
    sizes = np.diff(np.searchsorted(done.beats, done.bars - 1e-3))
    third = 8 * is_compound(piece)
    for first, last, size in zip(lines[:-1], lines[1:], sizes, strict=True):
        if 1 <= size <= 6:
            metre[max(int(first), 0) : max(int(last), 0)] = size - 1 + third
    first, last = (done.beats[[0, -1]] - begin) * FRAMES_A_SECOND + BEFORE
    return target, metre, max(int(first) - 5, 0), min(int(last) + 5, count)


def network(width: int, drop: float) -> Any:
    """Return the torch module; the same sums as `arranger.grid.track.networks.ear`."""
    import torch
    from torch import nn

    class Block(nn.Module):
        def __init__(self, wide: int, taps: int, spread: int) -> None:
            super().__init__()
            self.taps = nn.Conv1d(wide, wide, taps, padding=taps // 2 * spread, dilation=spread)
            self.mix = nn.Conv1d(wide, wide, 1)
            nn.init.normal_(self.mix.weight, std=0.3 / wide**0.5)
            self.drop = nn.Dropout1d(drop if wide > NARROW else drop / 2)

        def forward(self, x: Any, mask: Any) -> Any:
            return (x + self.mix(self.drop(torch.relu(self.taps(x)) * mask))) * mask

    class Net(nn.Module):
        def __init__(self) -> None:
            super().__init__()
            self.first = nn.Conv1d(CHANNELS, NARROW, 5, padding=2)
            self.outer = nn.ModuleList(Block(NARROW, 5, spread) for spread in OUTER)
            self.down = nn.Conv1d(NARROW, width, TAKEN, stride=TAKEN)
            self.inner = nn.ModuleList(Block(width, 3, spread) for spread in SPREADS)
            self.whole = nn.ModuleList(nn.Linear(width, width) for _ in range(2))
            for layer in self.whole:
                nn.init.normal_(layer.weight, std=0.1 / width**0.5)
            self.up = nn.ConvTranspose1d(width, NARROW, TAKEN, stride=TAKEN)
            self.after = nn.ModuleList(Block(NARROW, 5, spread) for spread in (1, 2))
            self.last = nn.Conv1d(NARROW, 2, 1)
            self.metre = nn.Conv1d(width, len(METRES) + 1, 1)

        def forward(self, x: Any, mask: Any) -> Any:
            coarse = mask[:, :, ::TAKEN]
            x = torch.relu(self.first(x)) * mask
            for block in self.outer:
                x = block(x, mask)
            y = torch.relu(self.down(x)) * coarse
            for number, block in enumerate(self.inner):
                y = block(y, coarse)
                if number in (4, 8):
                    mean = torch.relu(y).sum(2) / coarse.sum(2)
                    y = (y + self.whole[number // 8](mean)[:, :, None]) * coarse
            x = (x + self.up(torch.relu(y))) * mask
            for block in self.after:
                x = block(x, mask)
            return self.last(torch.relu(x)), self.metre(torch.relu(y))

    return Net()


def save(net: Any, path: Path) -> None:
    """Write the weights as `arranger.grid.track.networks.ear` reads them: inputs first, then outputs."""

    def of(weight: Any) -> Any:
        return weight.detach().float().cpu().numpy()

    arrays = {}
    for name, value in net.state_dict().items():
        found = of(value)
        if name == "up.weight":
            found = found.transpose(2, 0, 1)
        elif found.ndim == 3:
            found = found.transpose(2, 1, 0)
        elif found.ndim == 2:
            found = found.T
        arrays[name] = found.astype(np.float16)
    np.savez(path, **arrays)


class Pool:
    """Examples on the device, cut at random."""

    def __init__(self, examples: list[tuple[Any, ...]], device: str) -> None:
        import torch

        self.torch, self.device = torch, device
        self.cuts = Cuts([len(e[0]) for e in examples], CUT, device)
        starts = self.cuts.starts
        self.frames = torch.empty((starts[-1], CHANNELS), dtype=torch.float16, device=device)
        for place in range(0, len(examples), 256):
            some = np.concatenate([e[0] for e in examples[place : place + 256]])
            begin = starts[place]
            self.frames[begin : begin + len(some)] = torch.from_numpy(some).to(device)
        self.target = torch.from_numpy(np.concatenate([e[1] for e in examples])).half().to(device)
        self.metre = torch.from_numpy(np.concatenate([e[2] for e in examples])).to(device)
        truth = np.zeros(starts[-1], np.float32)
        for start, example in zip(starts[:-1], examples, strict=True):
            truth[start + example[3] : start + example[4]] = 1
        self.truth = torch.from_numpy(truth).to(device)

    def batch(self, rng: np.random.Generator, size: int, *, plain: bool = False) -> Any:
        torch = self.torch
        index, mask = self.cuts.drawn(rng, size)
        x = self.frames[index].float() * mask[..., None]
        if not plain:
            x = self.cuts.turned(rng, x, (CHROMA, CHROMA + 12))
            # a group of columns is missing now and then
            for begin, end in ((0, 8), (8, 20), (20, 22), (CHROMA + 12, CHANNELS)):
                gone = torch.from_numpy(rng.random(size) < 0.05).to(self.device)
                x[:, :, begin:end] *= ~gone[:, None, None]
        truth = self.truth[index] * mask
        return x.transpose(1, 2), self.target[index].float(), self.metre[index], mask, truth


def train(pools: list[Pool], given: Any, device: str) -> None:
    import torch

    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    torch.backends.cudnn.benchmark = True
    torch.manual_seed(given.seed)
    net = network(given.width, given.drop).to(device)
    average = network(given.width, given.drop).to(device)
    average.load_state_dict(net.state_dict())
    print(sum(p.numel() for p in net.parameters()), "weights", flush=True)
    top = 3e-3
    optimiser = torch.optim.AdamW(net.parameters(), lr=top, weight_decay=0.03)
    rng, start = np.random.default_rng(given.seed), time.time()
    told, step, summed = start, 0, 0.0
    bce = torch.nn.functional.binary_cross_entropy_with_logits

    def losses(model: Any, batch: Any) -> Any:
        x, y, metre, mask, truth = batch
        logits, metres = model(x, mask[:, None].float())
        both = (bce(logits.transpose(1, 2), y, reduction="none") * truth[..., None]).sum((0, 1))
        metre, known = metre[:, ::TAKEN].long(), (metre[:, ::TAKEN] >= 0).float()
        beats = torch.nn.functional.cross_entropy(
            metres[:, :-1], metre.clamp(min=0) % 8, reduction="none"
        )
        third = bce(metres[:, -1], (metre >= 8).float(), reduction="none")
        sums = torch.stack(((beats * known).sum(), (third * known).sum())) / known.sum().clamp(
            min=1
        )
        return torch.cat((both / truth.sum(), sums))

    def measured(model: Any, other: Pool) -> list[float]:
        fixed = np.random.default_rng(1)
        with torch.no_grad():
            rows = [losses(model, other.batch(fixed, 48, plain=True)) for _ in range(10)]
            return [round(value, 4) for value in torch.stack(rows).mean(0).tolist()]

    worth = torch.tensor([1.0, 1.0, 0.06, 0.06], device=device)
    while (done := (time.time() - start) / (60 * given.minutes)) < 1:
        rate = top * min(1.0, (step + 1) / 500) * (0.5 + 0.5 * np.cos(np.pi * done)) + 1e-5
        for group in optimiser.param_groups:
            group["lr"] = rate
        net.train()
        with torch.autocast(device, torch.bfloat16, enabled=device == "cuda"):
            loss = (losses(net, pools[0].batch(rng, given.batch)) * worth).sum()
        optimiser.zero_grad()
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        optimiser.step()
        step += 1
        keep = min(0.999, step / (step + 20))
        with torch.no_grad():
            torch._foreach_lerp_(list(average.parameters()), list(net.parameters()), 1 - keep)
        if step % 50 == 0:
            value = float(loss.detach())
            summed = value if not summed else 0.9 * summed + 0.1 * value
        if time.time() - told > 20 or time.time() - start > 60 * given.minutes:
            told = time.time()
            average.eval()
            print(
                step,
                f"{done:.2f} train {summed:.4f}",
                *(measured(average, p) for p in pools[1:]),
                flush=True,
            )
            save(average, given.out / f"beats{given.seed}.npz")
    save(average, given.out / f"beats{given.seed}.npz")


def kind_of(number: int, row: dict[str, Any]) -> str:
    """Return "held", "check" (one piece in 12, that `train_readings` learns from) or "train"."""
    return "held" if row["held"] else "train" if number % 12 else "check"


def jobs_of(rows: list[dict[str, Any]], variants: int, kind: str) -> list[Any]:
    found = []
    for number, row in enumerate(rows):
        if kind_of(number, row) != kind or not row["sure"]:
            continue
        times = 1
        if kind == "train":
            times = max(variants // 3, 1) if row["comp"] in TUNES else variants
            long = row["comp"] in COMPOSERS_OFTEN and len(row["onset"]) > 600
            odd = row["metre"] not in {(4, 4), (2, 4), (2, 2), (4, 2)}
            times *= (6 if long else 1) * (2 if odd else 1) * (2 if row["metre"][0] == 9 else 1)
        found += [(row, 4000 * number + n + 19 + number % 4, kind != "train") for n in range(times)]
    return found


def main() -> None:
    import torch

    asked = argparse.ArgumentParser()
    asked.add_argument("pieces", type=Path)
    asked.add_argument("out", type=Path)
    for name, usual in (("minutes", 4.0), ("drop", 0.1)):
        asked.add_argument(f"--{name}", type=float, default=usual)
    for name, usual in (
        ("variants", 8),
        ("jobs", 2),
        ("every", 1),
        ("width", 88),
        ("seed", 0),
        ("batch", BATCH),
    ):
        asked.add_argument(f"--{name}", type=int, default=usual)
    given = asked.parse_args()
    with lzma.open(given.pieces) as file:
        rows = pickle.load(file)[:: given.every]
    device = "cuda" if torch.cuda.is_available() else "cpu"
    begin, pools = time.time(), []
    for kind in ("train", "check", "held"):
        jobs = jobs_of(rows, given.variants, kind)
        np.random.default_rng(3).shuffle(jobs)
        with ProcessPoolExecutor(given.jobs) as workers:
            made = [e for e in workers.map(example, jobs, chunksize=8) if e is not None]
        pools.append(Pool(made, device))
        print(
            len(made), "examples", pools[-1].starts[-1], f"{time.time() - begin:.0f} s", flush=True
        )
    train(pools, given, device)


if __name__ == "__main__":
    main()
