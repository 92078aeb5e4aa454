# SPDX-License-Identifier: GPL-3.0-or-later
"""Sectors from Python, progress functions, and errors."""
import gc
import os
import subprocess
import sys
import tempfile
import threading
import unittest
import weakref
from pathlib import Path

import lacuna
from lacuna import FileState, SectorRun, SectorState
from museum import HURT, IMAGE, MAP, WHOLE, FileSource, open_museum


class Sources(unittest.TestCase):
    def test_a_disc_from_python(self):
        with lacuna.Image.from_source(FileSource(bad=range(376, 388)), name="python") as image:
            self.assertEqual((image.first_lba, image.end_lba), (0, os.path.getsize(IMAGE) // 2048))
            disc = lacuna.Disc(image)
        with disc, open_museum() as other:
            self.assertEqual(disc[HURT].state, FileState.DAMAGED)
            self.assertEqual(disc[HURT].gaps(), other[HURT].gaps())
            self.assertEqual(disc[WHOLE].read(), other[WHOLE].read())
            self.assertEqual(disc.basis, lacuna.Basis.ASSUMED)

    def test_what_is_known_ahead(self):
        known = [SectorRun(0, 2000, SectorState.GOOD), SectorRun(376, 12, SectorState.UNREAD)]
        with lacuna.Image.from_source(FileSource(), known=known) as image:
            self.assertTrue(image.has_map)
            self.assertEqual(image.sector_runs(370, 380),
                             [SectorRun(370, 6, SectorState.GOOD), SectorRun(376, 4, SectorState.UNREAD)])
            data, states = image.read(375, 2)
            self.assertEqual(states, [SectorState.GOOD, SectorState.UNREAD])
            self.assertEqual(data[2048:], bytes(2048))

    def test_lies_are_bad_sectors(self):
        class Liar(FileSource):
            def __init__(self, answer):
                super().__init__()
                self.answer = answer

            def read(self, lba, count):
                return self.answer(*super().read(lba, count))

        size = 2048
        cases = {
            "no states": (lambda data, states: data, 4 * [0]),
            "too few bytes": (lambda data, states: data[:size + 5], [0, 3, 3, 3]),
            "too few bytes, all called good": (lambda data, states: (data[:size], states), [0, 3, 3, 3]),
            "too few states": (lambda data, states: (data, states[:2]), [0, 0, 3, 3]),
            "too many of both": (lambda data, states: (data + data, list(states) * 2), 4 * [0]),
            "states that there are not": (lambda data, states: (data, [7, -1, 1000, 255]), 4 * [3]),
            "nothing": (lambda data, states: (b"", ()), 4 * [3]),
            "suspect": (lambda data, states: (data, [2, 2, 4, 5]), [2, 2, 4, 5]),
        }
        for name, (answer, expected) in cases.items():
            with self.subTest(name), lacuna.Image.from_source(Liar(answer)) as image:
                self.assertEqual([int(s) for s in image.read(300, 4)[1]], expected)

    def test_exceptions_come_through(self):
        class Broken(Exception):
            pass

        source = FileSource()
        with lacuna.Image.from_source(source) as image:
            disc = lacuna.Disc(image)
            source.fail = Broken("the robot dropped the disc")
            with self.assertRaises(Broken):
                disc[WHOLE].read()
            with self.assertRaises(Broken):
                lacuna.Disc(image)
            with self.assertRaises(Broken):
                disc[WHOLE].open().read(1)
            source.fail = KeyboardInterrupt()
            with self.assertRaises(KeyboardInterrupt):
                lacuna.Disc(image)
            source.fail = None
            self.assertTrue(disc[WHOLE].read().all_there)
        with self.assertRaises(TypeError):
            class Nonsense(FileSource):
                def read(self, lba, count):
                    return 17
            lacuna.Disc(lacuna.Image.from_source(Nonsense()))

    def test_sources_are_kept_as_long_as_needed_and_no_longer(self):
        source = FileSource()
        gone = weakref.ref(source)
        image = lacuna.Image.from_source(source)
        disc = lacuna.Disc(image)
        del source, image
        gc.collect()
        self.assertIsNotNone(gone())
        self.assertTrue(disc[WHOLE].read().all_there)
        del disc
        gc.collect()
        self.assertIsNone(gone())

    def test_a_source_that_is_not_taken_is_not_kept(self):
        class Empty(FileSource):
            end_lba = 0

        source = Empty()
        gone = weakref.ref(source)
        with self.assertRaises(lacuna.UsageError):
            lacuna.Image.from_source(source)
        del source
        gc.collect()
        self.assertIsNone(gone())

    def test_eight_threads_read_one_source(self):
        with lacuna.Disc(lacuna.Image.from_source(FileSource(bad=range(376, 388)))) as disc:
            expected = {f.path: f.read() for f in disc.files("Pictures/**")}
            wrong = []

            def work():
                for file in disc.files("Pictures/**"):
                    if file.read() != expected[file.path]:
                        wrong.append(file.path)

            threads = [threading.Thread(target=work) for _ in range(8)]
            for t in threads:
                t.start()
            for t in threads:
                t.join()
            self.assertEqual(wrong, [])


class ProgressFunctions(unittest.TestCase):
    def test_they_are_told(self):
        said = []
        lacuna.open_disc(IMAGE, progress=lambda task, done, total: said.append((task, done, total)))
        self.assertTrue(said)
        self.assertTrue(all(isinstance(task, str) and task and done >= 0 for task, done, total in said))

    def test_false_cancels(self):
        with self.assertRaises(lacuna.CancelledError):
            lacuna.open_disc(IMAGE, progress=lambda *_: False)
        with open_museum() as disc, tempfile.TemporaryDirectory() as folder:
            with self.assertRaises(lacuna.CancelledError):
                disc.pull(Path(folder) / "out", progress=lambda *_: False)

    def test_exceptions_come_through(self):
        def fail(*_):
            raise LookupError("no")

        with self.assertRaises(LookupError):
            lacuna.open_disc(IMAGE, progress=fail)
        with open_museum() as disc, tempfile.TemporaryDirectory() as folder, self.assertRaises(LookupError):
            disc.pull(Path(folder) / "out", progress=fail)


class Errors(unittest.TestCase):
    def test_each_code_has_an_exception(self):
        self.assertEqual(sorted(lacuna.ErrorCode), sorted(lacuna.errors.BY_CODE))
        for code, kind in lacuna.errors.BY_CODE.items():
            self.assertEqual(kind.code, code)
            self.assertTrue(issubclass(kind, lacuna.LacunaError))

    def test_they_name_what_is_wrong(self):
        with self.assertRaisesRegex(lacuna.NotReadableError, "nowhere"):
            lacuna.Image("/nowhere/disc.iso")
        with open_museum() as disc:
            with self.assertRaisesRegex(lacuna.NotFoundError, "^the disc has no 'nothing'$"):
                disc["nothing"]
            with self.assertRaises(KeyError):
                disc["nothing"]
            with self.assertRaises(lacuna.UsageError):
                disc["Pictures"].read(-1)
            with self.assertRaises(IsADirectoryError):
                disc["Pictures"].open()
            with self.assertRaises(lacuna.CannotWriteError):
                disc.pull("/proc/no/such/folder")
        with self.assertRaises(lacuna.NotReadableError):
            lacuna.verify("/nowhere")
        with tempfile.TemporaryDirectory() as folder:
            bad = Path(folder) / "bad.map"
            bad.write_text("1 2 wonderful\n")
            with self.assertRaisesRegex(lacuna.BadInputError, "bad.map:1"):
                lacuna.Image(IMAGE, maps=bad)
            empty = Path(folder) / "empty.iso"
            empty.write_bytes(os.urandom(2048 * 40))
            with self.assertRaises(lacuna.NoFileSystemError):
                lacuna.open_disc(empty)
        with self.assertRaises(lacuna.UsageError):
            lacuna.open_disc(IMAGE, view=lacuna.View.UDF)
        with self.assertRaises(lacuna.UsageError):
            lacuna.Image([])

    def test_paths_of_any_kind(self):
        for path in (str(IMAGE), os.fsencode(IMAGE), IMAGE, [IMAGE]):
            lacuna.Image(path, maps=[MAP]).close()

    def test_a_library_of_another_interface_is_refused(self):
        with tempfile.TemporaryDirectory() as folder:
            other = Path(folder) / "liblacuna.so"
            code = Path(folder) / "other.c"
            code.write_text("unsigned lacuna_abi_version(void) { return 4711; }\n")
            subprocess.run(["cc", "-shared", "-fPIC", code, "-o", other], check=True)
            for named, says in ((other, "has interface 4711"), (Path(folder) / "none.so", "can't be loaded")):
                done = subprocess.run([sys.executable, "-c", "import lacuna"], capture_output=True, text=True,
                                      env={**os.environ, "LACUNA_LIBRARY": str(named)})
                self.assertNotEqual(done.returncode, 0)
                self.assertIn(says, done.stderr)


if __name__ == "__main__":
    unittest.main()
