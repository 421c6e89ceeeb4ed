#!/usr/bin/env python3
"""Writes the inputs that the fuzzer begins with into Tests/Fuzz/Corpus: small files of every kind that is read.
FLAC comes from libsndfile, all else byte by byte."""
import io
import json
import pathlib
import struct

import numpy
import soundfile

CORPUS = pathlib.Path(__file__).resolve().parent / "Corpus"
SOUND = [int(9000 * ((k * 37) % 61 - 30) / 30) for k in range(64)]


def put(target, name, content):
    folder = CORPUS / target
    folder.mkdir(parents=True, exist_ok=True)
    (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())


def put_json(target, name, content):
    put(target, name, json.dumps(content, separators=(",", ":")))


def chunk(name, body, order="<"):
    return name + struct.pack(order + "I", len(body)) + body + b"\0" * (len(body) % 2)


def form(tag, channels, rate, bits, extensible=None):
    frame = channels * bits // 8
    body = struct.pack("<HHIIHH", 0xFFFE if extensible else tag, channels, rate, rate * frame, frame, bits)
    if extensible:
        body += struct.pack("<HHIH", 22, bits, extensible, tag) + bytes.fromhex("000000001000800000aa00389b71")
    return body


def wave(body, head=b"RIFF", size=None):
    return head + struct.pack("<I", 4 + len(body) if size is None else size) + b"WAVE" + body


def pcm(width, order="little"):
    return b"".join((s << 8 * width - 16 if width > 1 else (s >> 8) + 128).to_bytes(width, order, signed=width > 1)
                    for s in SOUND)


def bext(reference, history=b"A=PCM,F=48000,W=24,M=mono,T=recorder\r\n"):
    text = b"a take".ljust(256, b"\0") + b"recorder".ljust(32, b"\0") + b"REF1".ljust(32, b"\0")
    return text + b"2026-03-0112:30:05" + struct.pack("<QH", reference, 2) + bytes(64 + 10 + 180) + history


def extended(rate):
    exponent = rate.bit_length() - 1
    return struct.pack(">HQ", 16383 + exponent, rate << 63 - exponent)


def aiff(kind, bits, data, channels=1, offset=0):
    frames = len(data) * 8 // bits // channels
    common = struct.pack(">hIh", channels, frames, bits) + extended(44100)
    if kind != b"AIFF":
        common += kind + b"\0\0"
    body = chunk(b"COMM", common, ">") + chunk(b"SSND", struct.pack(">II", offset, 0) + bytes(offset) + data, ">")
    return b"FORM" + struct.pack(">I", 4 + len(body)) + (b"AIFF" if kind == b"AIFF" else b"AIFC") + body


def flac(subtype, channels, frames=300):
    file = io.BytesIO()
    sound = numpy.resize(numpy.array(SOUND) / 32768, (frames, channels))
    soundfile.write(file, sound, 48000, format="FLAC", subtype=subtype)
    return file.getvalue()


def audio():
    floats = b"".join(struct.pack("<f", s / 32768) for s in SOUND)
    doubles = b"".join(struct.pack("<d", s / 32768) for s in SOUND)
    plain = chunk(b"fmt ", form(1, 1, 48000, 24)) + chunk(b"data", pcm(3))
    ds64 = chunk(b"ds64", struct.pack("<QQQI", 200, len(pcm(2)), 64, 0))
    return {
        "8.wav": wave(chunk(b"fmt ", form(1, 1, 8000, 8)) + chunk(b"data", pcm(1))),
        "16 stereo.wav": wave(chunk(b"fmt ", form(1, 2, 44100, 16)) + chunk(b"data", pcm(2))),
        "24.wav": wave(plain),
        "32.wav": wave(chunk(b"fmt ", form(1, 1, 96000, 32)) + chunk(b"data", pcm(4))),
        "float.wav": wave(chunk(b"fmt ", form(3, 1, 48000, 32)) + chunk(b"data", floats)),
        "double.wav": wave(chunk(b"fmt ", form(3, 2, 48000, 64)) + chunk(b"data", doubles)),
        "extensible.wav": wave(chunk(b"fmt ", form(1, 2, 48000, 24, extensible=3)) + chunk(b"data", pcm(3))),
        "broadcast.wav": wave(chunk(b"bext", bext(48000 * 3600)) + plain + chunk(b"LIST", b"INFOabcd")),
        "unfinished.wav": wave(chunk(b"fmt ", form(1, 1, 48000, 16)) + b"data\0\0\0\0" + pcm(2), size=0),
        "long.rf64": wave(ds64 + chunk(b"fmt ", form(1, 1, 48000, 16)) + b"data\xff\xff\xff\xff" + pcm(2), b"RF64",
                          0xFFFFFFFF),
        "long.bw64": wave(ds64 + chunk(b"fmt ", form(1, 1, 48000, 16)) + b"data\xff\xff\xff\xff" + pcm(2), b"BW64",
                          0xFFFFFFFF),
        "16.aiff": aiff(b"AIFF", 16, pcm(2, "big")),
        "24 offset.aiff": aiff(b"AIFF", 24, pcm(3, "big"), offset=16),
        "little.aifc": aiff(b"sowt", 16, pcm(2), channels=2),
        "float.aifc": aiff(b"fl32", 32, floats),
        "16.flac": flac("PCM_16", 2),
        "24.flac": flac("PCM_24", 1),
    }


def setting(name="s"):
    track = {"flip": True, "nudge_ms": -0.5, "gain_dB": 3, "highPass_Hz": 80, "highPassSlope_dBPerOctave": 24,
             "pan": -0.3, "muted": False}
    return {"format": "spillwright/setting", "version": 1, "name": name,
            "tracks": [{"track": "a", **track}, {"track": "b", "highPass_Hz": None, "pan": None}]}


def session():
    terms = {"stereo": True, "aim": "worst", "tracks": [{"track": "a", "group": 1, "largestNudge_ms": 0.5}]}
    version = {"name": "flips", "summationGain_dB": 1.5, "gap_dB": 0.0, "cutShort": False, "onMine": False,
               "lows_dB": -0.2, "words": "a flip", "terms": terms, "madeFrom_s": [1, 2], "source": "snare",
               "why": [{"track": "a", "change": "flip", "effect_dB": 0.4}], "setting": setting()}
    return {"format": "spillwright/session", "version": 1,
            "recording": {"folder": "../take", "absoluteFolder": "/take", "files": [{"name": "a.wav", "bytes": 48}]},
            "setting": setting(), "holds": ["a"], "linked": True, "heard": "mine", "home": setting(),
            "versions": [version, {**version, "name": "mine"}], "band_Hz": [178, 562], "proposedFor": setting(),
            "terms": terms, "loop_s": [0.5, 3], "readsLoop": True,
            "listening": {"sides": "mono", "band_Hz": [100, 200], "matchesLoudness": False},
            "sources": sources(), "focus": "snare",
            "selection": {"track": "a", "partner": "b", "together": ["a", "b"]},
            "list": [{"track": "a", "shown": "one", "label": 2, "group": "g", "another's": {"x": [1]}}],
            "folded": ["g"], "unsavedOf": "take.spillwright", "another's": {"deep": [{"name": "n", "y": 1}]}}


def sources():
    return {"format": "spillwright/sources", "version": 1, "sources": [{"name": "snare", "closeTracks": ["a", "b"]}]}


def lesson():
    place = {"position_m": [2, 3, 1.2], "omniShare": 0.5, "aimsAt_m": [1, 1, 1]}
    room = {"size_m": [6, 5, 3], "absorption": {"xLow": 0.2, "floor": 0.1}, "temperature_C": 20, "decay_s": 0.4,
            "source": {"position_m": [1, 1, 1]}, "microphones": [{"name": "m", **place, "flip": True, "nudge_ms": 1}]}
    change = {"size_m": [7, 5, 3], "microphones": {"m": {"flip": None}, "n": {"position_m": [3, 3, 1]}}}
    return {"format": "spillwright/lesson", "version": 1, "title": "t", "listenFor": "l", "lookFor": "k",
            "question": "q", "answer": "a", "references": ["r"], "sound": "drums", "room": room,
            "steps": [{"title": "one"}, {"title": "two", "change": change},
                      {"room": room, "change": {"microphones": {"m": None, "o": place}}}]}


def scene():
    room = {"name": "hall", "size_m": [6, 5, 3], "temperature_C": 20, "decay_s": 0.3, "scatter_m": 0.05,
            "airLoss_dB_per_m": [0, 0, 0, 0, 0.01, 0.02, 0.1],
            "absorption": dict.fromkeys(["xLow", "xHigh", "yLow", "yHigh", "floor", "ceiling"], 0.2)}
    place = {"room": "hall", "position_m": [1, 1, 1], "aimsAt_m": [2, 2, 1]}
    microphone = {**place, "file": "01 a", "pattern": "cardioid", "gain_dB": 3, "selfNoise_dBFS": -90,
                  "inverted": True, "late_samples": 3, "highPass_Hz": 60}
    source = {"name": "snare", "omniShare": 0.7, **place, "position_m": [2, 2, 1], "aimsAt_m": [3, 3, 1],
              "level_dB": 0, "close": "a", "instrument": {"bank": 128, "program": 0, "chokes": True, "rings": False},
              "strokes": {"x": {"key": 38, "velocity": 90}}, "phrases": {"A": ["x.x.", "xx|.x"]}, "order": "A*2 rest*2",
              "tempo_bpm": 120, "start_s": 0.1, "feel": {"seed": 1, "timing_ms": 3, "late_ms": 1, "velocity": 4}}
    other = {**source, "name": "bass", "close": None, "order": "B", "phrases": {"B": "f c4*2 e#4+g4' - | mp d2*4! _*0.5"}}
    del other["strokes"]
    return {"format": "spillwright/scene", "version": 1, "title": "t", "length_s": 3, "soundBank": "bank.sf3",
            "sampleRate_Hz": 48000, "seed": 1, "tempo_bpm": 100, "beatsPerBar": 4, "rooms": [room],
            "microphones": [microphone, {**microphone, "file": "02 b", "pattern": "omni"}], "sources": [source, other]}


CALLS = """measure|take|--json|-
measure|take|--from|0.1|--to-time|0.6|--band|100:900|--save-sources|n.json
measure|take|--source|a|--sources|src.json|--largest-arrival|20|--temperature|-3.5|--threads|2
propose|take|--allow|flips|--count|3|--save|n.json|--hold|a|--reference|b
propose|take|--largest-nudge|1|--time|0.1|--least-worth|0|--group|a,b|--own-largest-nudge|c=0.5|--stereo
propose|take|--aim|worst|--aim-source|a|--even-balance|--unlink|--setting|set.json|--allow|flips
render|take|--setting|set.json|--to|out|--sum|sum.wav|--notes|n.txt|--bits|32f|--replace
sums|take|--setting|set.json|--session|ses.spillwright|--to|out|--loudness|-23
report|take|--session|ses.spillwright|--to|r.html|--recall|r.csv|--time|0.1|--date|today
compare|take|take2|--match|a=a|--json|n.json
compare|take|--microphone|a|--microphone|b
lesson
lesson|les.json
demo|nothing|--to|out
--version
propose|--help""".splitlines()

if __name__ == "__main__":
    for name, content in audio().items():
        put("audio", name, content)
    files = audio()
    for first, second in [("24.wav", "16.flac"), ("broadcast.wav", "broadcast.wav"), ("8.wav", "float.wav"),
                          ("16.aiff", "16 stereo.wav")]:
        put("recording", f"{first}, {second}", struct.pack("<H", len(files[first])) + files[first] + files[second])
    put("broadcast", "whole", bext(123456789))
    put("broadcast", "open line", bext(0, b"A=PCM"))
    put("broadcast", "short", bext(1)[:500])
    put_json("setting", "setting", setting())
    put_json("setting", "sources", sources())
    put_json("session", "session", session())
    put_json("lesson", "lesson", lesson())
    put_json("scene", "scene", scene())
    for k, call in enumerate(CALLS):
        put("command", f"call {k + 1:02}", call.replace("|", "\n"))
