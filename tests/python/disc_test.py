# SPDX-License-Identifier: GPL-3.0-or-later
"""Discs, files, reports and pulling from Python, held against the map that the museum's disc was hurt by."""
import gc
import io
import json
import tempfile
import threading
import unittest
from datetime import datetime, timezone
from pathlib import Path

import lacuna
from lacuna import FileState, SectorState
from museum import HURT, IMAGE, MAP, WHOLE, open_museum


def bad_sectors():
    """From the map's text, read here by other means than the library's."""
    bad = {}
    for line in MAP.read_text().splitlines():
        if line and not line.startswith("#"):
            first, count, state = line.split()[:3]
            for lba in range(int(first), int(first) + int(count)):
                bad[lba] = state
    return bad


def expected_of(file):
    """A file's bytes and states as the image and the map have them."""
    image, bad = IMAGE.read_bytes(), bad_sectors()
    data, states = bytearray(), []
    for e in file.extents():
        for at in range(e.position, e.position + e.length):
            state = bad.get(at // 2048, "good")
            data.append(image[at] if state == "good" else 0)
            states.append(state)
    return bytes(data), states


class Discs(unittest.TestCase):
    def setUp(self):
        self.disc = open_museum()
        self.addCleanup(self.disc.close)

    def test_volumes_and_counts(self):
        volume = self.disc.main_volume
        self.assertEqual(volume.volume_id, "HARBOUR_BACKUP")
        self.assertEqual(volume.application_id, "HARBOUR MUSEUM BACKUP")
        self.assertEqual(volume.created, datetime(2004, 3, 9, 16, 20, tzinfo=timezone.utc))
        self.assertIn(lacuna.View.JOLIET, [v.view for v in self.disc.volumes()])
        files = list(self.disc.files())
        for state, count in self.disc.counts.items():
            same = [f for f in files if f.state == state]
            self.assertEqual(count.files, len(same), state)
            self.assertEqual(count.missing_bytes, sum(f.info.missing_bytes for f in same), state)
        self.assertEqual(self.disc.basis, lacuna.Basis.MAP)
        self.assertEqual(self.disc.also_present, [])

    def test_files_are_filtered(self):
        names = [f.path for f in self.disc.files("Pictures/1962/*")]
        self.assertEqual(names, ["Pictures/1962/Fish market.ppm", "Pictures/1962/Ice in the basin.ppm", HURT])
        self.assertIn(HURT, [f.path for f in self.disc.files(states=[FileState.DAMAGED])])
        self.assertNotIn(WHOLE, [f.path for f in self.disc.files(states=[FileState.DAMAGED])])
        self.assertEqual([f.path for f in self.disc.files(["*.EXE", "*.csv"])],
                         ["Catalogue/catalogue.csv", "Programs/SLIDES.EXE"])
        self.assertEqual([f.path for f in self.disc.files("*.exe", ignore_case=True)], ["Programs/SLIDES.EXE"])
        self.assertIn("Letters", [f.path for f in self.disc.files(directories=True) if f.is_directory])
        self.assertIn("Letters/1999 thanks to Ærø.txt", [f.path for f in self.disc])

    def test_every_file_reads_as_image_and_map_have_it(self):
        for file in self.disc.files():
            data, states = expected_of(file)
            with self.subTest(file.path):
                result = file.read()
                self.assertEqual(result.data, data)
                said = [s for run in result.runs for s in [run.state.word] * run.length]
                self.assertEqual(said, states)
                self.assertEqual(result.all_there, file.state == FileState.WHOLE)
                self.assertEqual([(g.offset, g.length) for g in file.gaps()],
                                 [(r.offset, r.length) for r in result.runs if r.state != SectorState.GOOD])

    def test_reading_parts(self):
        file = self.disc[WHOLE]
        data = file.read().data
        self.assertEqual(len(data), file.size)
        self.assertEqual(file.read(100, 50).data, data[100:150])
        self.assertEqual(file.read(file.size - 3, 50).data, data[-3:])
        self.assertEqual(file.read(file.size).data, b"")
        self.assertEqual(file.read(0, 0).runs, [])
        self.assertEqual(self.disc.find("Read me first.txt").read().data.splitlines()[0],
                         b"Contents of the disc, line 1")

    def test_dates_and_kinds(self):
        info = self.disc[WHOLE].info
        self.assertEqual(info.kind, lacuna.NodeKind.FILE)
        self.assertEqual(info.view, lacuna.View.ROCKRIDGE)
        self.assertEqual(info.modified.year, 2003)
        self.assertEqual(info.modified.month, 11)
        self.assertIsNotNone(info.mode)

    def test_a_stream_fails_exactly_at_what_is_missing(self):
        file = self.disc[HURT]
        data, states = expected_of(file)
        first = next(i for i, s in enumerate(states) if s != "good")
        behind = len(states) - next(i for i, s in enumerate(reversed(states)) if s != "good")
        with file.open() as stream:
            self.assertIsInstance(stream, io.RawIOBase)
            start = b""
            with self.assertRaises(OSError) as caught:
                while True:
                    piece = stream.read(5000)
                    self.assertNotEqual(piece, b"")
                    start += piece
            self.assertEqual(caught.exception.errno, 5)  # EIO
            self.assertEqual(start, data[:first])
            self.assertEqual(stream.tell(), first)
            stream.seek(first - 1)
            self.assertEqual(stream.read(100), data[first - 1:first])
            with self.assertRaises(OSError):
                stream.read(1)
            stream.seek(behind - 1)
            with self.assertRaises(OSError):
                stream.read(1)
            stream.seek(behind)
            self.assertEqual(stream.read(), data[behind:])
            self.assertEqual(stream.read(10), b"")
            stream.seek(-4, io.SEEK_END)
            self.assertEqual(stream.read(10), data[-4:])

    def test_a_stream_can_be_buffered_and_wrapped(self):
        file = self.disc["Read me first.txt"]
        lines = io.TextIOWrapper(io.BufferedReader(file.open()), encoding="utf-8").readlines()
        self.assertEqual(len(lines), 8)
        self.assertEqual(lines[7], "Contents of the disc, line 8\n")

    def test_reports(self):
        survey = self.disc.survey()
        self.assertEqual(survey["schema"], "lacuna/survey/1")
        files = [json.loads(line) for line in self.disc.report("files", "ndjson").splitlines()]
        self.assertEqual(files[0]["schema"], "lacuna/files/1")
        listed = {f["path"]: f for f in files[1:] if f["kind"] != "directory"}
        for file in self.disc:
            self.assertEqual(listed[file.path]["state"], file.state.word)
            self.assertEqual(listed[file.path]["doubts"], file.doubts())
        self.assertEqual(json.loads(self.disc.report("hits"))["schema"], "lacuna/hits/1")

    def test_sector_runs(self):
        runs = self.disc.sector_runs(376, 390)
        self.assertEqual([(r.first_lba, r.count, r.state) for r in runs],
                         [(376, 12, SectorState.BAD), (388, 2, SectorState.GOOD)])

    def test_pull_and_verify(self):
        with tempfile.TemporaryDirectory() as folder:
            to = Path(folder) / "out"
            report = self.disc.pull(to)
            done = {f.path: f for f in report.files}
            for file in self.disc.files():
                with self.subTest(file.path):
                    whole = file.state == FileState.WHOLE
                    self.assertEqual(done[file.path].outcome == lacuna.Outcome.PULLED, whole)
                    if whole:
                        self.assertEqual((to / done[file.path].target).read_bytes(), file.read().data)
            self.assertEqual(report.counts[lacuna.Outcome.PULLED],
                             sum(f.state == FileState.WHOLE for f in self.disc.files()))
            checked = lacuna.verify(to)
            self.assertEqual(checked.problems, [])
            self.assertEqual(checked.files_right, report.counts[lacuna.Outcome.PULLED])
            (to / done[WHOLE].target).write_bytes(b"other")
            self.assertEqual([(p.kind, p.path) for p in lacuna.verify(to).problems], [("changed", done[WHOLE].target)])

    def test_pull_arranged_and_once_into_a_bag(self):
        with tempfile.TemporaryDirectory() as folder:
            to = Path(folder) / "bag"
            report = self.disc.pull(to, arrange=lacuna.Arrangement.YEAR_KIND, once=True, bag=True,
                                    bag_info=["Source-Organization: The harbour museum"])
            self.assertTrue(report.bag_closed)
            self.assertIn("Source-Organization: The harbour museum\n", (to / "bag-info.txt").read_text())
            pulled = [f for f in report.files if f.outcome == lacuna.Outcome.PULLED]
            self.assertTrue(all(f.target.startswith(("data/2", "data/1", "data/undated/")) for f in pulled), pulled)
            self.assertEqual(lacuna.verify(to).problems, [])
            with self.assertRaises(lacuna.UsageError):
                self.disc.pull(to, bag=True, bag_info=["no colon"])

    def test_eight_threads_read_one_disc(self):
        files = [f for f in self.disc.files()]
        expected = {f.path: f.read().data for f in files}
        wrong = []

        def work(offset):
            for i in range(len(files)):
                file = files[(i + offset) % len(files)]
                if file.read().data != expected[file.path] or self.disc[file.path].read().data != expected[file.path]:
                    wrong.append(file.path)

        threads = [threading.Thread(target=work, args=(n * 2,)) for n in range(8)]
        for t in threads:
            t.start()
        for t in threads:
            t.join()
        self.assertEqual(wrong, [])

    def test_closing_while_others_read(self):
        disc = open_museum()
        files = list(disc.files("Pictures/**"))
        started = threading.Barrier(5)

        def work():
            started.wait()
            for file in files * 20:
                try:
                    file.read(0, 4096)
                except lacuna.UsageError:  # it was closed
                    return

        threads = [threading.Thread(target=work) for _ in range(4)]
        for t in threads:
            t.start()
        started.wait()
        disc.close()
        for file in files:
            file.close()
        for t in threads:
            t.join()
        with self.assertRaises(lacuna.UsageError):
            files[0].read()

    def test_handles_outlive_what_they_came_from(self):
        disc = open_museum()
        file = disc[WHOLE]
        disc.close()
        disc.close()
        self.assertTrue(disc.closed)
        with self.assertRaises(lacuna.UsageError):
            list(disc.files())
        del disc
        gc.collect()
        self.assertEqual(len(file.read().data), file.size)


if __name__ == "__main__":
    unittest.main()
