#include "Audition/OutputDevice.h"
#include "Rig.h"
#include "Support/MessagePump.h"

#include <jack/jack.h>
#include <juce_events/juce_events.h>

#include <array>
#include <atomic>
#include <csignal>
#include <cstdlib>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

extern char** environ;

using namespace spillwright;
using namespace spillwright::test;

namespace {

/// A sound server of this test's own, without hardware and under a name that no other has.
class JackServer {
public:
    explicit JackServer(int period = 256, int rate = 48000) {
        int ends[2];
        REQUIRE(pipe(ends) == 0);
        posix_spawn_file_actions_t actions;
        posix_spawn_file_actions_init(&actions);
        posix_spawn_file_actions_adddup2(&actions, ends[1], STDOUT_FILENO);
        posix_spawn_file_actions_addclose(&actions, ends[0]);
        posix_spawn_file_actions_addclose(&actions, ends[1]);
        std::vector<std::string> words{"bash", SPILLWRIGHT_SOURCE_DIR "/Tests/Support/audio_server.sh",
                                       std::to_string(period) + "@" + std::to_string(rate)};
        std::vector<char*> arguments;
        for (auto& word : words)
            arguments.push_back(word.data());
        arguments.push_back(nullptr);
        const int failure = posix_spawnp(&process, "bash", &actions, nullptr, arguments.data(), environ);
        posix_spawn_file_actions_destroy(&actions);
        close(ends[1]);
        std::string name;
        for (char letter; failure == 0 && read(ends[0], &letter, 1) == 1 && letter != '\n';)
            name += letter;
        close(ends[0]);
        if (name.empty()) FAIL("the audio server cannot be started");
        setenv("JACK_DEFAULT_SERVER", name.c_str(), 1);
    }
    ~JackServer() { stop(); }

    bool running() const { return waitpid(process, nullptr, WNOHANG) == 0; }

    void stop() {
        if (process <= 0) return;
        kill(process, SIGTERM);
        waitpid(process, nullptr, 0);
        process = 0;
    }

private:
    pid_t process = 0;
};

/// A client that writes down what the program gives out, from its first sound on, however late that comes: the first
/// sample written down is the first of the left side that is not 0.
class JackRecorder {
public:
    JackRecorder(const JackServer& server, int samples) : left(static_cast<std::size_t>(samples)), right(left.size()) {
        jack_set_error_function([](const char*) {}); // until the server is there, each try is told as an error
        Rig::waitUntil([&] {
            if (!server.running()) FAIL("the audio server has ended; what it said is above");
            std::this_thread::sleep_for(std::chrono::milliseconds(20));
            client = jack_client_open("recorder", JackNoStartServer, nullptr);
            return client != nullptr;
        });
        for (std::size_t side = 0; side < 2; ++side)
            inputs[side] =
                jack_port_register(client, side == 0 ? "left" : "right", JACK_DEFAULT_AUDIO_TYPE, JackPortIsInput, 0);
        REQUIRE(jack_set_process_callback(client, process, this) == 0);
        REQUIRE(jack_activate(client) == 0);
    }
    ~JackRecorder() { jack_client_close(client); }

    void connect() {
        const char** outputs = jack_get_ports(client, "spillwright:", JACK_DEFAULT_AUDIO_TYPE, JackPortIsOutput);
        REQUIRE(outputs);
        for (std::size_t side = 0; side < 2; ++side) {
            REQUIRE(outputs[side]);
            REQUIRE(jack_connect(client, outputs[side], jack_port_name(inputs[side])) == 0);
        }
        jack_free(outputs);
        // A busy server says that it has connected some periods before it does.
        Rig::waitUntil([&] { return jack_port_connected(inputs[0]) == 1 && jack_port_connected(inputs[1]) == 1; });
    }

    std::vector<float> left, right;
    std::atomic<int> filled{0};

private:
    static int process(jack_nframes_t count, void* self) {
        auto& to = *static_cast<JackRecorder*>(self);
        const auto heard = [&](std::size_t side) {
            return static_cast<const float*>(jack_port_get_buffer(to.inputs[side], count));
        };
        const int start = to.filled;
        const float* const end = heard(0) + count;
        const float* const first =
            start > 0 ? heard(0) : std::find_if(heard(0), end, [](float s) { return s != 0.0f; });
        const auto skipped = first - heard(0);
        const int now = std::min(static_cast<int>(end - first), static_cast<int>(to.left.size()) - start);
        std::copy_n(heard(0) + skipped, now, to.left.begin() + start);
        std::copy_n(heard(1) + skipped, now, to.right.begin() + start);
        to.filled = start + now;
        return 0;
    }

    jack_client_t* client = nullptr;
    std::array<jack_port_t*, 2> inputs{};
};

/// Tells when all of it has been read: from then on no busy machine can make the player wait for its sound.
class WatchedSource : public MemorySource {
public:
    using MemorySource::MemorySource;

    bool allRead() const { return groupsRead >= static_cast<int>(groups().size()); }

    Result<std::unique_ptr<GroupReader>> openGroup(int group) const override {
        auto reader = MemorySource::openGroup(group);
        return std::unique_ptr<GroupReader>(new Reader(*this, std::move(*reader)));
    }

private:
    struct Reader : GroupReader {
        Reader(const WatchedSource& source, std::unique_ptr<GroupReader> reader)
            : of(source), inner(std::move(reader)) {}
        Outcome read(std::int64_t start, int count, std::span<float* const> tracks) override {
            auto outcome = inner->read(start, count, tracks);
            if (start < of.length() && start + count >= of.length()) ++of.groupsRead;
            return outcome;
        }
        const WatchedSource& of;
        std::unique_ptr<GroupReader> inner;
    };

    mutable std::atomic<int> groupsRead{0}; ///< To the end.
};

} // namespace

TEST_CASE("no audio device is a state, not an error") {
    const juce::ScopedJuceInitialiser_GUI juce;
    setenv("JACK_DEFAULT_SERVER", "spillwright-no-such-server", 1);
    Player player;
    OutputDevice device(player.callback());
    CHECK(device.state() == "no audio device: everything but sound works");
    device.open(); // on a machine with a sound card it will be ALSA's
    if (!device.manager().getCurrentAudioDevice()) {
        CHECK_FALSE(device.available());
        CHECK(device.state() == "no audio device: everything but sound works");
    }
}

TEST_CASE("what leaves through a real audio server is the sum at the output level", "[device]") {
    const juce::ScopedJuceInitialiser_GUI juce;
    JackServer server;
    const int length = 3 * 48000; // as much as the player keeps in memory ahead of what is heard
    auto recorder = std::make_unique<JackRecorder>(server, length);

    std::vector<std::vector<float>> tracks;
    for (std::uint64_t seed = 1; seed <= 4; ++seed)
        tracks.push_back(whiteNoise(length, seed, 0.1));
    const auto source = std::make_shared<WatchedSource>(tracks);
    std::vector<TrackAdjustment> adjustments(4);
    adjustments[1].flip = true;
    adjustments[2].nudge = Seconds(-100.0 / 48000.0);
    adjustments[3].gain = Decibels(-6.0);
    adjustments[3].pan = 1.0;

    Player player;
    OutputDevice device(player.callback());
    device.open();
    CHECK(device.state() == "JACK: system, 48 kHz, 256 samples");
    CHECK(device.available());
    player.open(source, plainTracks(4));
    player.setAdjustments(adjustments);
    recorder->connect();
    Rig::waitUntil([&] { return player.ready() && source->allRead(); });
    player.play();
    Rig::waitUntil([&] { return recorder->filled == static_cast<int>(recorder->left.size()); });

    const double level = std::pow(10.0, -18.0 / 20.0), centre = std::sqrt(0.5);
    std::vector<double> left(length), right(length);
    for (int n = 0; n < length; ++n) {
        const auto at = [&](std::size_t track, int k) {
            return k < length ? static_cast<double>(tracks[track][static_cast<std::size_t>(k)]) : 0.0;
        };
        const double both = centre * (at(0, n) - at(1, n) + at(2, n + 100));
        left[static_cast<std::size_t>(n)] = level * both;
        right[static_cast<std::size_t>(n)] = level * (both + std::pow(10.0, -6.0 / 20.0) * at(3, n));
    }
    // The first sample that is not 0 is the second of the fade or, after a track that happens to begin with 0, the
    // third.
    double best = 0.0;
    for (std::int64_t shift = -2; shift <= 0; ++shift)
        best = std::min(best, std::max(differenceDb(recorder->left, left, fadeSamples, length, shift),
                                       differenceDb(recorder->right, right, fadeSamples, length, shift)));
    CHECK(best < -80.0);
    CHECK(player.meters().dropouts == 0);

    // The server goes: nobody tells, but the state does, in time and without a crash.
    recorder.reset(); // libjack cannot close a client whose server has gone
    server.stop();
    Rig::waitUntil([&] { return !device.available(); });
    CHECK(device.state() == "JACK: system has stopped; it is tried again every 3 s");
    device.open();
    if (!device.manager().getCurrentAudioDevice())
        CHECK(device.state() == "no audio device: everything but sound works");
}

namespace {

/// Each track as the chain treats it, panned and summed in double precision: what render() writes.
std::array<std::vector<double>, 2> rendered(const std::vector<std::vector<float>>& tracks, const HeardMix& mix,
                                            double rate, double level) {
    const std::size_t length = tracks[0].size(), margin = 4096;
    std::array<std::vector<double>, 2> sum{std::vector<double>(length), std::vector<double>(length)};
    for (std::size_t track = 0; track < tracks.size(); ++track) {
        std::vector<float> padded(margin), out(length);
        padded.insert(padded.end(), tracks[track].begin(), tracks[track].end());
        padded.resize(padded.size() + margin);
        TrackChain chain(mix.adjustments[track], rate);
        chain.process(padded.data() + margin, out.data(), static_cast<int>(length));
        const double angle = (mix.adjustments[track].pan.value_or(0.0) + 1.0) * std::numbers::pi / 4.0;
        for (std::size_t n = 0; n < length; ++n) {
            sum[0][n] += level * std::cos(angle) * static_cast<double>(out[n]);
            sum[1][n] += level * std::sin(angle) * static_cast<double>(out[n]);
        }
    }
    return sum;
}

} // namespace

TEST_CASE("through a real audio server each version is heard as rendered, switched and looped, at any rate and buffer",
          "[device][long]") {
    const juce::ScopedJuceInitialiser_GUI juce;
    const std::array<std::pair<int, int>, 11> devices{{{44100, 32},
                                                       {44100, 256},
                                                       {44100, 1024},
                                                       {48000, 32},
                                                       {48000, 256},
                                                       {48000, 1024},
                                                       {96000, 32},
                                                       {96000, 256},
                                                       {96000, 1024},
                                                       {48000, 16},
                                                       {192000, 4096}}};
    for (const auto& [rate, buffer] : devices) {
        INFO(rate << " Hz, buffers of " << buffer);
        JackServer server(buffer, rate);
        const int fade = rate / 100, loopFrom = rate / 5, loopTo = rate, recorded = 5 * rate / 2;
        std::vector<std::vector<float>> tracks;
        for (std::uint64_t seed = 1; seed <= 3; ++seed)
            tracks.push_back(whiteNoise(static_cast<std::size_t>(2 * rate), seed, 0.1));
        std::array<HeardMix, 2> versions;
        for (auto& version : versions)
            version.adjustments.resize(3);
        versions[0].adjustments[1].pan = -0.6;
        versions[1].adjustments = {versions[0].adjustments[0], versions[0].adjustments[1], {}};
        versions[1].adjustments[0].flip = true;
        versions[1].adjustments[1].nudge = milliseconds(0.3217);
        versions[1].adjustments[2].nudge = milliseconds(-4.711);
        versions[1].adjustments[2].highPass = Hertz(90.0);
        auto recorder = std::make_unique<JackRecorder>(server, recorded);

        const auto source = std::make_shared<WatchedSource>(tracks, static_cast<double>(rate));
        Player player;
        OutputDevice device(player.callback());
        device.open();
        REQUIRE(device.opened() == DeviceChoice{"JACK", "system", static_cast<double>(rate), buffer});
        player.open(source, plainTracks(3));
        player.hear(versions[0]);
        player.setLoop(loopFrom, loopTo);
        player.seek(loopFrom);
        recorder->connect();
        Rig::waitUntil([&] { return player.ready(); });
        player.play();
        for (int turn = 1; recorder->filled < recorded; ++turn) {
            const int until = turn * rate / 4;
            Rig::waitUntil([&] { return recorder->filled >= std::min(until, recorded); });
            player.hear(versions[static_cast<std::size_t>(turn % 2)]);
        }
        const double level = std::pow(10.0, Player::startLevel.value / 20.0);
        const std::array expected{rendered(tracks, versions[0], rate, level),
                                  rendered(tracks, versions[1], rate, level)};
        // The first sample that is not 0 is the second of the fade-in or a later one.
        const auto worstOf = [&](std::int64_t late, int& switches) {
            const int piece = rate / 200;
            double worst = -300.0;
            int before = 0, faded = 0;
            switches = 0;
            for (int from = fade; from + piece <= recorded; from += piece) {
                const std::int64_t place = (from + late) % (loopTo - loopFrom);
                if (place < fade || place + piece > loopTo - loopFrom) continue; // the seam's cross-fade
                std::array<double, 2> differs{};
                for (std::size_t version = 0; version < 2; ++version)
                    for (std::size_t side = 0; side < 2; ++side) {
                        const auto& heard = side == 0 ? recorder->left : recorder->right;
                        differs[version] = std::max(side == 0 ? -300.0 : differs[version],
                                                    differenceDb(heard, expected[version][side], loopFrom + place,
                                                                 loopFrom + place + piece, from - loopFrom - place));
                    }
                const int is = differs[0] < differs[1] ? 0 : 1;
                const double least = differs[static_cast<std::size_t>(is)];
                if (least > -90.0 && faded < 3) { // a switch: at most 10 ms, over three pieces
                    ++faded;
                    continue;
                }
                faded = 0;
                if (is != before) ++switches;
                before = is;
                worst = std::max(worst, least);
            }
            return worst;
        };
        double worst = 0.0;
        int switches = 0;
        for (std::int64_t late = 0; late <= 2; ++late) {
            int found = 0;
            if (const double now = worstOf(late, found); now < worst) {
                worst = now;
                switches = found;
            }
        }
        CHECK(worst < -90.0);
        CHECK(switches >= 7);
        CHECK(player.meters().dropouts == 0);
        recorder.reset();
    }
}

TEST_CASE("a device that goes and comes back is opened again by itself, as it was", "[device]") {
    const juce::ScopedJuceInitialiser_GUI juce;
    auto server = std::make_unique<JackServer>();
    { const JackRecorder isThere(*server, 1); }
    Player player;
    OutputDevice device(player.callback());
    device.choose({"JACK", "system", 0.0, 0});
    REQUIRE(pumpUntil([&] { return device.available(); }));
    server.reset();
    REQUIRE(pumpUntil([&] { return !device.available(); }));
    CHECK(device.state() == "JACK: system has stopped; it is tried again every 3 s");
    server = std::make_unique<JackServer>();
    REQUIRE(pumpUntil([&] { return device.available(); }));
    CHECK(device.state() == "JACK: system, 48 kHz, 256 samples");

    // What was chosen stays chosen while it is not there, and what plays in its place is told.
    device.choose({"JACK", "no such device", 0.0, 0});
    CHECK(device.choice().name == "no such device");
    CHECK(device.state() == "JACK: system, 48 kHz, 256 samples; JACK: no such device is not there");
}
