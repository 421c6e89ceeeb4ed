#include "Core/Scene/Acoustics.h"
#include "Core/Scene/SceneSound.h"
#include "Core/Signal/AlignedVector.h"
#include "Core/Signal/Fourier.h"
#include "Demo/DemoRecording.h"
#include "Demo/Players.h"
#include "Demo/SceneFile.h"

#include "Session/JsonNumbers.h"

#include <nlohmann/json.hpp>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace spillwright {

namespace {

using jsonNumbers::rounded;
using nlohmann::ordered_json;

const Band spillBand{Hertz(100.0), Hertz(8000.0)};
constexpr double leadFrameSeconds = 0.25;

/// Energies of a sound: of all its samples, of each quarter of a second, and of what lies in two bands (Hann windows,
/// half overlapped).
struct Energies {
    double all = 0.0;
    std::vector<double> frames;
    double spill = 0.0;
    double lowMid = 0.0;
};

std::vector<double> frameEnergies(const std::vector<float>& sound, double sampleRate) {
    const auto frame = static_cast<std::size_t>(leadFrameSeconds * sampleRate);
    std::vector<double> energies(sound.size() / frame);
    for (std::size_t n = 0; n < energies.size() * frame; ++n)
        energies[n / frame] += static_cast<double>(sound[n]) * static_cast<double>(sound[n]);
    return energies;
}

Energies energiesOf(const std::vector<float>& sound, double sampleRate, const Fourier& transform) {
    Energies energies;
    for (float sample : sound)
        energies.all += static_cast<double>(sample) * static_cast<double>(sample);
    energies.frames = frameEnergies(sound, sampleRate);
    const auto size = static_cast<std::int64_t>(transform.length());
    AlignedVector<float> window(static_cast<std::size_t>(size));
    for (std::size_t n = 0; n < window.size(); ++n)
        window[n] = static_cast<float>(
            0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * static_cast<double>(n) / static_cast<double>(size)));
    AlignedVector<float> signal(window.size());
    AlignedVector<std::complex<float>> spectrum(static_cast<std::size_t>(transform.binCount()));
    const auto length = static_cast<std::int64_t>(sound.size());
    for (std::int64_t start = -size / 2; start < length; start += size / 2) {
        for (std::size_t n = 0; n < window.size(); ++n) {
            const std::int64_t at = start + static_cast<std::int64_t>(n);
            signal[n] = at >= 0 && at < length ? sound[static_cast<std::size_t>(at)] * window[n] : 0.0f;
        }
        transform.forward(signal.data(), spectrum.data());
        for (std::size_t bin = 0; bin < spectrum.size(); ++bin) {
            const Hertz frequency(static_cast<double>(bin) * sampleRate / static_cast<double>(size));
            const double power = static_cast<double>(std::norm(spectrum[bin]));
            if (frequency >= spillBand.low && frequency <= spillBand.high) energies.spill += power;
            if (frequency >= lowMidBand.low && frequency <= lowMidBand.high) energies.lowMid += power;
        }
    }
    return energies;
}

double dbOrNull(double ratio) {
    return ratio > 0.0 ? decibelsOfPower(ratio) : std::nan("");
}

/// Seconds in which each source has more energy than any other, given the energies [source][frame].
std::vector<double> secondsLoudest(const std::vector<std::vector<double>>& energies) {
    std::vector<double> seconds(energies.size());
    for (std::size_t frame = 0; frame < energies.front().size(); ++frame) {
        std::size_t loudest = 0;
        for (std::size_t s = 1; s < energies.size(); ++s)
            if (energies[s][frame] > energies[loudest][frame]) loudest = s;
        if (energies[loudest][frame] > 0.0) seconds[loudest] += leadFrameSeconds;
    }
    return seconds;
}

/// Energy of the direct sound against all that the impulse response holds.
double directShare(const Scene& scene, std::size_t source, std::size_t microphone, const DirectPath& path) {
    double all = 0.0;
    for (float sample : impulseResponse(scene, static_cast<int>(source), static_cast<int>(microphone)).samples)
        all += static_cast<double>(sample) * static_cast<double>(sample);
    return std::pow(10.0, path.level.value / 10.0) / all;
}

ordered_json signOrNull(const std::optional<Polarity>& polarity) {
    return polarity ? ordered_json(sign(*polarity)) : ordered_json(nullptr);
}

ordered_json tracksToJson(const SceneFile& file) {
    ordered_json tracks = ordered_json::array();
    for (const auto& output : file.files)
        for (std::size_t channel = 0; channel < output.microphones.size(); ++channel) {
            const auto& microphone = file.scene.microphones[static_cast<std::size_t>(output.microphones[channel])];
            const auto& faults = microphone.faults;
            ordered_json highPass = nullptr;
            if (faults.highPass) highPass = faults.highPass->value;
            tracks.push_back({{"name", microphone.name},
                              {"file", output.name + ".wav"},
                              {"channel", channel},
                              {"room", file.scene.rooms[static_cast<std::size_t>(microphone.room)].name},
                              {"inverted", faults.inverted},
                              {"late_samples", faults.lateSamples},
                              {"late_ms", rounded(1e3 * faults.lateSamples / file.scene.sampleRate, 6)},
                              {"highPass_Hz", highPass}});
        }
    return tracks;
}

} // namespace

Result<ordered_json> demoTruth(const std::filesystem::path& sceneFile) {
    const auto file = readSceneFile(sceneFile);
    if (!file) return file.fault();
    Workers workers;
    const auto parts = playParts(*file, workers, {});
    if (!parts) return parts.fault();
    const Scene& scene = file->scene;
    const SceneSound sound(scene, *parts, workers);
    const std::size_t sources = scene.sources.size();
    const std::size_t microphones = scene.microphones.size();
    const auto transform = Fourier::ofLength(16384);

    std::vector<Energies> energies(sources * microphones);
    std::vector<double> directShares(energies.size());
    workers.forEach(energies.size(), [&](std::size_t item, int) {
        const std::size_t source = item / microphones;
        const std::size_t microphone = item % microphones;
        if (scene.sources[source].room != scene.microphones[microphone].room) return;
        directShares[item] = directShare(scene, source, microphone,
                                         *directPath(scene, static_cast<int>(source), static_cast<int>(microphone)));
        energies[item] = energiesOf(sound.part(static_cast<int>(source), static_cast<int>(microphone)),
                                    scene.sampleRate, *transform);
    });

    // How long each source leads: as the sound leaves the instruments of its room, and in its own close track.
    std::vector<std::vector<double>> dryFrames;
    for (std::size_t s = 0; s < sources; ++s) {
        dryFrames.push_back(frameEnergies((*parts)[s], scene.sampleRate));
        for (double& energy : dryFrames.back())
            energy *= std::pow(10.0, scene.sources[s].level.value / 10.0);
    }
    const std::vector<double> nothing(dryFrames.front().size());
    std::vector<double> lead(sources);
    std::vector<std::optional<double>> leadClose(sources);
    for (std::size_t s = 0; s < sources; ++s) {
        const auto& own = file->closeMicrophone[s];
        std::vector<std::vector<double>> dry(sources, nothing);
        std::vector<std::vector<double>> close(sources, nothing);
        for (std::size_t other = 0; other < sources; ++other) {
            if (scene.sources[other].room != scene.sources[s].room) continue;
            dry[other] = dryFrames[other];
            if (own) close[other] = energies[other * microphones + static_cast<std::size_t>(*own)].frames;
        }
        lead[s] = secondsLoudest(dry)[s];
        if (own) leadClose[s] = secondsLoudest(close)[s];
    }
    const auto trackName = [&](int microphone) { return scene.microphones[static_cast<std::size_t>(microphone)].name; };

    ordered_json sourcesJson = ordered_json::array();
    ordered_json paths = ordered_json::array();
    for (std::size_t s = 0; s < sources; ++s) {
        const auto& close = file->closeMicrophone[s];
        sourcesJson.push_back({{"name", scene.sources[s].name},
                               {"room", scene.rooms[static_cast<std::size_t>(scene.sources[s].room)].name},
                               {"close", close ? ordered_json(trackName(*close)) : ordered_json(nullptr)},
                               {"lead_s", lead[s]},
                               {"leadClose_s", leadClose[s] ? ordered_json(*leadClose[s]) : ordered_json(nullptr)}});
        std::optional<DirectPath> closePath;
        if (close) closePath = directPath(scene, static_cast<int>(s), *close);
        for (std::size_t m = 0; m < microphones; ++m) {
            const auto path = directPath(scene, static_cast<int>(s), static_cast<int>(m));
            if (!path) continue; // another room: no way
            const Energies& energy = energies[s * microphones + m];
            ordered_json json{
                {"source", scene.sources[s].name},
                {"track", scene.microphones[m].name},
                {"distance_m", rounded(path->distance.value, 6)},
                {"flight_ms", rounded(inMilliseconds(path->arrival), 6)},
                {"sign", signOrNull(path->polarity)},
                {"direct_dB", rounded(path->level.value, 4)},
                {"directShare", rounded(directShares[s * microphones + m], 6)},
                {"level_dBFS",
                 rounded(dbOrNull(energy.all / static_cast<double>(file->length.value * scene.sampleRate)), 4)}};
            json["arrival_ms"] = nullptr;
            json["polarity"] = nullptr;
            json["level_dB"] = nullptr;
            json["levelLowMid_dB"] = nullptr;
            if (closePath) {
                const Energies& own = energies[s * microphones + static_cast<std::size_t>(*close)];
                json["arrival_ms"] = rounded(inMilliseconds(path->arrival - closePath->arrival), 6);
                if (path->polarity && closePath->polarity)
                    json["polarity"] = sign(*path->polarity) * sign(*closePath->polarity);
                json["level_dB"] = rounded(dbOrNull(energy.spill / own.spill), 4);
                json["levelLowMid_dB"] = rounded(dbOrNull(energy.lowMid / own.lowMid), 4);
            }
            paths.push_back(std::move(json));
        }
    }
    ordered_json roomsJson = ordered_json::array();
    for (const auto& room : scene.rooms)
        roomsJson.push_back({{"name", room.name}, {"temperature_C", room.temperature.value}});
    return ordered_json{{"format", "spillwright/truth"},
                        {"version", 1},
                        {"title", file->title},
                        {"sampleRate_Hz", scene.sampleRate},
                        {"length_s", file->length.value},
                        {"rooms", roomsJson},
                        {"tracks", tracksToJson(*file)},
                        {"sources", sourcesJson},
                        {"paths", paths}};
}

} // namespace spillwright
