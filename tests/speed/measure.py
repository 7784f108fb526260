"""How fast a language server is while one types.

measure.py AMPERSUM RUFF [LINES ...]

For texts of 100, 1,000 and 10,000 lines: from a keystroke to the diagnostics of that version (median and 99th percentile
of many), from the start of the process to the first diagnostics, a hover, and the memory held afterwards; and the same of a
text whose circuits stand under a part, a block and a value that all may use. The other server gets Python of as many lines, so that the machine's own speed cancels out of the comparison.
"""

import json
import statistics
import subprocess
import sys
import threading
import time
from queue import Queue

KEYSTROKES = 200
HOVERS = 100

# Goals: half the other server's time; milliseconds from keystroke to diagnostics, by lines; 99th percentile over median;
# start to first diagnostics of the small text; hover; megabytes after the large text.
SHARE = 0.5
TYPING = {100: 0.5, 1_000: 1.2, 10_000: 7.0}
SPREAD = 3.0
START = 10.0
HOVER = 2.0
MEMORY = 30.0


class Server:
    """A server, spoken to over its standard input and output."""

    def __init__(self, command):
        self.began = time.perf_counter()
        self.process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, bufsize=0
        )
        self.messages = Queue()
        self.number = 0
        threading.Thread(target=self.read, daemon=True).start()

    def read(self):
        output = self.process.stdout
        buffer = b""
        while True:
            while b"\r\n\r\n" not in buffer:
                more = output.read(1 << 16)
                if not more:
                    return
                buffer += more
            head, buffer = buffer.split(b"\r\n\r\n", 1)
            length = next(int(it.split(b":")[1]) for it in head.split(b"\r\n") if it.lower().startswith(b"content-length"))
            while len(buffer) < length:
                more = output.read(1 << 16)
                if not more:
                    return
                buffer += more
            body, buffer = buffer[:length], buffer[length:]
            self.messages.put((time.perf_counter(), json.loads(body)))

    def send(self, message):
        body = json.dumps({"jsonrpc": "2.0", **message}).encode()
        self.process.stdin.write(b"Content-Length: %d\r\n\r\n" % len(body) + body)

    def notify(self, method, params):
        self.send({"method": method, "params": params})

    def request(self, method, params):
        self.number += 1
        self.send({"id": self.number, "method": method, "params": params})
        number = self.number
        return self.wait(lambda it: it.get("id") == number and "method" not in it)

    def wait(self, wanted):
        while True:
            when, message = self.messages.get(timeout=120)
            if "method" in message and "id" in message:
                # The server asks: nothing is known.
                self.send({"id": message["id"], "result": None})
            if wanted(message):
                return when, message

    def diagnostics(self, version):
        """When the diagnostics of this version came."""
        def wanted(it):
            params = it.get("params") or {}
            return it.get("method") == "textDocument/publishDiagnostics" and params.get("version") == version
        return self.wait(wanted)[0]

    def memory(self):
        """Megabytes."""
        with open(f"/proc/{self.process.pid}/status") as status:
            line = next(it for it in status if it.startswith("VmRSS"))
        return int(line.split()[1]) / 1024

    def end(self):
        self.request("shutdown", None)
        self.notify("exit", None)
        self.process.wait(timeout=10)


def circuits(lines):
    """Stages of a greenhouse, nine lines a circuit; the keystroke's place is the `1` of the middle stage's `1.2 V`."""
    text = []
    number = 0
    while len(text) < lines:
        number += 1
        text += [
            f'circuit stage_{number} "Scale probe {number}"',
            "supply +9 V and -9 V",
            "source probe: in = 1.2 V",
            "in -- R1 10k -- sum -- R2 33k -- out",
            "opamp A1: plus ground, minus sum, drives out",
            "out -- R3 4.7k -- mid -- R4 10k -- ground",
            "mid -- R5 100k -- end_node -- R6 22k -- ground",
            "expect out = -3.96 V",
            "",
        ]
    text = text[:lines]
    middle = next(at for at in range(len(text) // 2, -1, -1) if text[at].startswith("source"))
    return "\n".join(text) + "\n", (middle, text[middle].index("1.2")), (middle, text[middle].index("in ="))


HEAD = [
    "part drawer",
    "  bandwidth 3 MHz",
    "  slew 6 V/us",
    "end",
    "let R = 10k",
    "block half: top, mid",
    "  top -- Ra (R) -- mid -- Rb (R) -- ground",
    "end",
]
USE = ["circuit bench", "source tank: top = 1 V", "half H1: top top, mid out", "opamp A1: plus out, minus copy, drives copy, part drawer"]


def under_a_head(lines):
    """The same below a part, a block and a value that all of them may use, as in a class's file."""
    text, *places = circuits(lines - len(HEAD) - len(USE))
    return "\n".join(HEAD) + "\n" + text + "\n".join(USE) + "\n", *[(line + len(HEAD), column) for line, column in places]


def functions(lines):
    """Python of about the same density."""
    text = ["import math", ""]
    number = 0
    while len(text) < lines:
        number += 1
        text += [
            f"def stage_{number}(probe, gain=3.3):",
            f'    """Scale probe {number}."""',
            "    supply = (9.0, -9.0)",
            "    total = probe * 1.2",
            "    out = -gain * total",
            "    mid = out * 10.0 / 14.7",
            "    low, high = sorted(supply)",
            "    assert low < out < high",
            "    return math.fsum([out, mid])",
            "",
        ]
    text = text[:lines]
    middle = next(at for at in range(len(text) // 2, -1, -1) if "total = probe" in text[at])
    return "\n".join(text) + "\n", (middle, text[middle].index("1.2")), (middle, text[middle].index("total"))


def measure(command, language, uri, text, key, word):
    server = Server(command)
    capabilities = {
        "general": {"positionEncodings": ["utf-8", "utf-16"]},
        "textDocument": {"publishDiagnostics": {"versionSupport": True}, "hover": {"contentFormat": ["markdown"]}},
    }
    server.request("initialize", {"processId": None, "rootUri": None, "capabilities": capabilities})
    server.notify("initialized", {})
    server.notify("textDocument/didOpen", {"textDocument": {"uri": uri, "languageId": language, "version": 0, "text": text}})
    start = server.diagnostics(0) - server.began
    line, column = key
    took = []
    for version in range(1, KEYSTROKES + 1):
        # One digit typed, then taken away again.
        typed = version % 2 == 1
        end = {"line": line, "character": column + (0 if typed else 1)}
        change = {"range": {"start": {"line": line, "character": column}, "end": end}, "text": "2" if typed else ""}
        began = time.perf_counter()
        server.notify(
            "textDocument/didChange",
            {"textDocument": {"uri": uri, "version": version}, "contentChanges": [change]},
        )
        took.append(server.diagnostics(version) - began)
    hovers = []
    for _ in range(HOVERS):
        began = time.perf_counter()
        position = {"line": word[0], "character": word[1]}
        when, _ = server.request("textDocument/hover", {"textDocument": {"uri": uri}, "position": position})
        hovers.append(when - began)
    memory = server.memory()
    server.end()
    took.sort()
    return {
        "start": start * 1e3,
        "typing": statistics.median(took) * 1e3,
        "p99": took[int(len(took) * 0.99) - 1] * 1e3,
        "hover": statistics.median(hovers) * 1e3,
        "memory": memory,
    }


def main():
    ours, others = sys.argv[1:3]
    sizes = [int(it) for it in sys.argv[3:]] or list(TYPING)
    print(f"{'lines':>7}  {'server':<9} {'keystroke':>10} {'p99':>8} {'start':>8} {'hover':>8} {'memory':>9}")
    missed = []
    for lines in sizes:
        rows = {
            "ruff": measure([others, "server"], "python", "file:///greenhouse/bed.py", *functions(lines)),
            "ampersum": measure([ours, "serve"], "ampersum", "file:///greenhouse/bed.amp", *circuits(lines)),
            "with head": measure([ours, "serve"], "ampersum", "file:///greenhouse/bed.amp", *under_a_head(lines)),
        }
        for name, it in rows.items():
            print(
                f"{lines:>7}  {name:<9} {it['typing']:>7.2f} ms {it['p99']:>5.1f} ms {it['start']:>5.1f} ms "
                f"{it['hover']:>5.2f} ms {it['memory']:>6.1f} MB"
            )
        other = rows.pop("ruff")
        goals = [
            (what if name == "ampersum" else f"{what} ({name})", is_, goal)
            for name, it in rows.items()
            for what, is_, goal in [
                ("keystroke, of the other's", it["typing"] / other["typing"], SHARE),
                ("keystroke, ms", it["typing"], TYPING.get(lines, float("inf"))),
                ("99th percentile over median", it["p99"] / it["typing"], SPREAD),
                ("hover, ms", it["hover"], HOVER),
                ("start, ms", it["start"], START if lines == min(TYPING) else float("inf")),
                ("memory, MB", it["memory"], MEMORY),
            ]
        ]
        missed += [f"{lines} lines: {what}: {is_:.2f}, goal {goal:g}" for what, is_, goal in goals if is_ > goal]
    for it in missed:
        print("missed:", it)
    sys.exit(1 if missed else 0)


if __name__ == "__main__":
    main()
