#pragma once

#include <nlohmann/json.hpp>

namespace spillwright::test {

/// A scene of 1.5 s: two drums and a tune in a room, one guitar elsewhere; five tracks in four files.
inline nlohmann::json smallScene() {
    return nlohmann::json::parse(R"({
        "format": "spillwright/scene", "version": 1, "title": "A small one", "sampleRate_Hz": 48000, "length_s": 1.5,
        "seed": 3, "soundBank": "MuseScore_General_Lite.sf3", "tempo_bpm": 120, "beatsPerBar": 4,
        "rooms": [
            { "name": "hall", "size_m": [5, 6, 3], "temperature_C": 20, "decay_s": 0.05,
              "absorption": { "xLow": 0.4, "xHigh": 0.4, "yLow": 0.4, "yHigh": 0.4,
                              "floor": [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7], "ceiling": 0.4 } },
            { "name": "booth", "size_m": [2, 2, 2], "temperature_C": 20, "decay_s": 0.05,
              "absorption": { "xLow": 0.8, "xHigh": 0.8, "yLow": 0.8, "yHigh": 0.8, "floor": 0.8, "ceiling": 0.8 } }
        ],
        "microphones": [
            { "file": "01 kick", "room": "hall", "position_m": [1, 1, 0.5], "pattern": "omni", "gain_dB": -6,
              "selfNoise_dBFS": -80, "inverted": true },
            { "file": "02 pair", "room": "hall", "position_m": [2, 3, 2], "aimsAt_m": [1, 1, 1], "pattern": "cardioid",
              "gain_dB": 6, "selfNoise_dBFS": -80 },
            { "file": "02 pair", "room": "hall", "position_m": [3, 3, 2], "aimsAt_m": [4, 1, 1], "pattern": "cardioid",
              "gain_dB": 6, "selfNoise_dBFS": -80, "late_samples": 96 },
            { "file": "03 tune", "room": "hall", "position_m": [4, 4.7, 1], "aimsAt_m": [4, 5, 1],
              "pattern": "figure of eight", "gain_dB": 0, "selfNoise_dBFS": -80, "highPass_Hz": 100 },
            { "file": "04 dub", "room": "booth", "position_m": [1, 1, 1], "pattern": "omni", "gain_dB": 0,
              "selfNoise_dBFS": -80 }
        ],
        "sources": [
            { "name": "kick", "room": "hall", "position_m": [1, 1, 0.3], "level_dB": 0, "close": "kick",
              "instrument": { "bank": 128, "program": 0, "rings": true },
              "strokes": { "x": { "key": 36, "velocity": 100 } },
              "phrases": { "a": "x..x" }, "order": "a", "feel": { "seed": 1, "timing_ms": 4, "velocity": 4 } },
            { "name": "hat", "room": "hall", "position_m": [2, 1, 1], "level_dB": 0,
              "instrument": { "bank": 128, "program": 0, "rings": true, "chokes": true },
              "strokes": { "o": { "key": 46, "velocity": 100 }, "c": { "key": 42, "velocity": 80 } },
              "phrases": { "a": "oc.." }, "order": "a", "feel": { "seed": 2, "timing_ms": 0, "velocity": 0 } },
            { "name": "tune", "room": "hall", "position_m": [4, 5, 1], "level_dB": 0, "close": "tune",
              "instrument": { "bank": 0, "program": 71 },
              "phrases": { "a": "f d5 e5 f5 g5" }, "order": "a", "feel": { "seed": 3, "timing_ms": 4, "velocity": 4 } },
            { "name": "guitar", "room": "booth", "position_m": [1, 1.4, 1], "level_dB": 0, "close": "dub",
              "instrument": { "bank": 0, "program": 24, "rings": true }, "tempo_bpm": 67, "start_s": 0.1,
              "phrases": { "a": "d3 a3 d4 f4" }, "order": "a", "feel": { "seed": 4, "timing_ms": 4, "velocity": 4 } }
        ]
    })");
}

} // namespace spillwright::test
