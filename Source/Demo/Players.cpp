#include "Demo/Players.h"

#include <fluidsynth.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <cmath>
#include <cstdlib>
#include <memory>
#include <mutex>
#include <sstream>

namespace spillwright {

namespace {

/// Held while a bank is loaded or let go: libfluidsynth 2.3 keeps one list of samples for all synths of a process, and
/// two that load at once were heard to get wrong samples.
std::mutex& banks() {
    static std::mutex mutex;
    return mutex;
}

struct Release {
    void operator()(fluid_settings_t* settings) const { delete_fluid_settings(settings); }
    void operator()(fluid_synth_t* synth) const {
        std::lock_guard lock(banks());
        delete_fluid_synth(synth);
    }
};

constexpr int block = 64; // what fluidsynth renders at once: a note that begins with a block begins on its first sample
constexpr double longestRing = 6.0; // seconds
constexpr float inaudible = 3e-6f;  // -110 dB

/// One instrument, one note after another.
class Player {
public:
    static Result<Player> open(const std::filesystem::path& bank, const Instrument& instrument, double sampleRate) {
        static const bool quiet = [] { // its words on standard error are not for the user: faults say what is wrong
            for (int level = FLUID_PANIC; level <= FLUID_DBG; ++level)
                fluid_set_log_function(level, nullptr, nullptr);
            return true;
        }();
        static_cast<void>(quiet);
        Player player; // before the lock: let go after it
        std::lock_guard lock(banks());
        player.settings.reset(new_fluid_settings());
        fluid_settings_t* settings = player.settings.get();
        fluid_settings_setnum(settings, "synth.sample-rate", sampleRate);
        fluid_settings_setint(settings, "synth.reverb.active", 0);
        fluid_settings_setint(settings, "synth.chorus.active", 0);
        fluid_settings_setint(settings, "synth.dynamic-sample-loading", 1); // one preset, not the whole bank
        fluid_settings_setint(settings, "synth.lock-memory", 0);
        fluid_settings_setint(settings, "synth.threadsafe-api", 0); // each synth belongs to one thread
        fluid_settings_setnum(settings, "synth.gain", 1.0);
        player.synth.reset(new_fluid_synth(settings));
        const std::string path = bank.string();
        const int id =
            fluid_is_soundfont(path.c_str()) ? fluid_synth_sfload(player.synth.get(), path.c_str(), 0) : FLUID_FAILED;
        if (id == FLUID_FAILED)
            return Fault{bank.string(), "cannot be read as a sound bank", "install its package anew"};
        if (fluid_synth_program_select(player.synth.get(), channel, id, instrument.bank, instrument.program) ==
            FLUID_FAILED) {
            return Fault{bank.string(),
                         "has no preset of bank " + std::to_string(instrument.bank) + ", program " +
                             std::to_string(instrument.program),
                         "name another one in the scene"};
        }
        return player;
    }

    /// The sound of a note from its first sample until it has died away.
    void play(const Note& note, std::int64_t holdSamples, std::int64_t mostSamples, std::vector<float>& sound) {
        sound.clear();
        fluid_synth_noteon(synth.get(), channel, note.key, note.velocity);
        while (static_cast<std::int64_t>(sound.size()) < std::min(holdSamples, mostSamples) &&
               fluid_synth_get_active_voice_count(synth.get()) > 0)
            render(sound);
        fluid_synth_noteoff(synth.get(), channel, note.key);
        float peak = 1.0f;
        while (static_cast<std::int64_t>(sound.size()) < mostSamples && peak > inaudible)
            peak = render(sound);
        // Cut off what may still sound, so that the next note begins in silence.
        fluid_synth_all_sounds_off(synth.get(), channel);
        std::vector<float> dropped;
        constexpr int mostBlocks = 8;
        for (int rendered = 0; rendered < mostBlocks; ++rendered)
            if (render(dropped) == 0.0f) break;
    }

private:
    float render(std::vector<float>& sound) {
        std::array<float, block> left;
        std::array<float, block> right;
        fluid_synth_write_float(synth.get(), block, left.data(), 0, 1, right.data(), 0, 1);
        float peak = 0.0f;
        for (std::size_t i = 0; i < block; ++i) {
            sound.push_back(0.5f * (left[i] + right[i]));
            peak = std::max(peak, std::abs(sound.back()));
        }
        return peak;
    }

    static constexpr int channel = 0;
    std::unique_ptr<fluid_settings_t, Release> settings;
    std::unique_ptr<fluid_synth_t, Release> synth;
};

} // namespace

std::vector<std::filesystem::path> soundBankFolders() {
    std::vector<std::filesystem::path> data;
    const auto variable = [](const char* name) {
        const char* value = std::getenv(name);
        return std::string(value ? value : "");
    };
    if (const auto home = variable("HOME"); !home.empty()) data.emplace_back(home + "/.local/share");
    std::string system = variable("XDG_DATA_DIRS");
    if (system.empty()) system = "/usr/local/share:/usr/share";
    std::istringstream list(system);
    for (std::string folder; std::getline(list, folder, ':');)
        if (!folder.empty()) data.emplace_back(folder);
    data.emplace_back("/usr/share");
    std::vector<std::filesystem::path> folders;
    for (const auto& folder : data)
        for (const char* name : {"sounds/sf3", "sounds/sf2", "soundfonts"})
            folders.push_back(folder / name);
    return folders;
}

Result<std::filesystem::path> findSoundBank(const std::string& name, std::span<const std::filesystem::path> folders) {
    for (const auto& folder : folders) {
        std::error_code error;
        if (std::filesystem::is_regular_file(folder / name, error)) return folder / name;
    }
    return Fault{name, "this sound bank, which plays the demo, is not on this machine",
                 "install the package musescore-general-soundfont-small"};
}

Result<std::vector<float>> playPart(const std::filesystem::path& soundBank, const Part& part, double sampleRate,
                                    std::int64_t length) {
    auto player = Player::open(soundBank, part.instrument, sampleRate);
    if (!player) return player.fault();
    std::vector<Note> notes = part.notes;
    std::stable_sort(notes.begin(), notes.end(), [](const Note& a, const Note& b) { return a.start < b.start; });
    const auto samples = [&](double seconds) { return std::llround(seconds * sampleRate); };

    std::vector<float> result(static_cast<std::size_t>(length));
    std::vector<float> sound;
    for (std::size_t n = 0; n < notes.size(); ++n) {
        const Note& note = notes[n];
        const auto start = samples(note.start.value);
        if (start >= length) continue;
        std::int64_t most = std::min<std::int64_t>(samples(longestRing + note.length.value), length - start);
        std::int64_t fade = 0;
        if (part.instrument.chokes && n + 1 < notes.size()) {
            fade = samples(0.012);
            most = std::min(most, std::max<std::int64_t>(samples(notes[n + 1].start.value) - start, 0) + fade);
        }
        player->play(note, part.instrument.rings ? samples(longestRing) : samples(note.length.value), most, sound);
        const auto count = std::min(most, static_cast<std::int64_t>(sound.size()));
        const bool choked = fade > 0 && count == most;
        for (std::int64_t i = 0; i < count; ++i) {
            const auto left = static_cast<double>(count - i) / static_cast<double>(std::max<std::int64_t>(fade, 1));
            const float gain = choked ? static_cast<float>(std::min(1.0, left)) : 1.0f;
            result[static_cast<std::size_t>(start + i)] += gain * sound[static_cast<std::size_t>(i)];
        }
    }
    return result;
}

Result<std::vector<std::vector<float>>> playParts(const SceneFile& scene, Workers& workers, const Watch& watch) {
    const auto folders = soundBankFolders();
    const auto bank = findSoundBank(scene.soundBank, folders);
    if (!bank) return bank.fault();
    const auto length = std::llround(scene.length.value * scene.scene.sampleRate);
    std::vector<Result<std::vector<float>>> played(scene.parts.size(), std::vector<float>());
    std::atomic<std::size_t> finished{0};
    workers.forEach(scene.parts.size(), [&](std::size_t source, int worker) {
        if (watch.stopped()) return;
        played[source] = playPart(*bank, scene.parts[source], scene.scene.sampleRate, length);
        const auto count = static_cast<double>(++finished);
        if (worker == 0) watch.tell(count / static_cast<double>(scene.parts.size()));
    });
    if (watch.stopped()) return Fault{scene.title, "stopped", "", Fault::Kind::cancelled};
    std::vector<std::vector<float>> parts;
    for (auto& part : played) {
        if (!part) return part.fault();
        parts.push_back(std::move(part).value());
    }
    return parts;
}

} // namespace spillwright
