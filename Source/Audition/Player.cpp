#include "Audition/Player.h"

#include "Audition/Guard.h"
#include "Audition/LiveSum.h"
#include "Audition/Loader.h"
#include "Audition/SumResampler.h"

#include <algorithm>
#include <array>
#include <atomic>
#include <chrono>
#include <cmath>
#include <mutex>
#include <optional>
#include <thread>

namespace spillwright {

namespace {

/// What goes with one recording.
struct Programme {
    Programme(std::shared_ptr<const SampleSource> samples, std::vector<TrackInfo> trackInfos)
        : source(std::move(samples)), tracks(std::move(trackInfos)), rate(source->sampleRate()),
          reach(Loader::reachFor(source->trackCount(), rate)), state(static_cast<std::size_t>(source->trackCount())),
          blocks(source->trackCount(), source->length(), Loader::slotsFor(reach, rate, mostMargin(), mostMargin())),
          sum(blocks, state, rate, source->length(), reach.start), meter(rate), monitor(rate),
          loader(source, blocks, state, reach) {}

    void forgetStandIns() {
        std::erase_if(standIns, [](const auto& one) { return one->isLetGo(); });
    }

    /// Samples that a mix may need on either side.
    std::int64_t mostMargin() const { return margin(Player::largestNudge); }
    std::int64_t margin(Seconds nudge) const {
        return std::llround((nudge + TrackChain::longestSettling).value * rate) + FractionalDelay::taps;
    }

    std::int64_t within(std::int64_t sample) const {
        return std::clamp<std::int64_t>(sample, 0, std::max<std::int64_t>(source->length() - 1, 0));
    }

    /// Samples that are mixed already and not yet given out.
    std::int64_t onTheWay() const { return resampler ? std::llround(resampler->delay().value * rate) : 0; }

    /// Where it is, or is asked to go.
    std::int64_t place() const {
        const std::int64_t asked = state.seek;
        return asked != PlayState::nowhere ? asked : state.position.load();
    }

    std::shared_ptr<const SampleSource> source;
    std::vector<TrackInfo> tracks;
    const double rate;
    const Loader::Reach reach;
    PlayState state;
    std::vector<std::unique_ptr<StandIn>> standIns; ///< That the audio thread may still read.
    SongBlocks blocks;
    LiveSum sum;
    LoudnessMeter meter;
    Monitor monitor;
    Loop loop;
    std::int64_t lastMargin = 0;
    std::string remark;
    std::unique_ptr<SumResampler> resampler; ///< Null: the device has the recording's rate, or there is none.
    Loader loader;                           // last: its thread uses the above
};

/// A practice room, as the player plays it.
struct Practice {
    explicit Practice(std::shared_ptr<PracticeSum> room)
        : rate(room->sampleRate()), kept(std::move(room)), sum(*kept), meter(rate), monitor(rate) {}

    const double rate;
    const std::shared_ptr<PracticeSum> kept;
    PracticeSum& sum;
    LoudnessMeter meter;
    Monitor monitor;
    std::unique_ptr<SumResampler> resampler; ///< As a programme's.
};

/// From the sum to the device: output level, guard.
struct OutputStage {
    OutputStage(double deviceRate, float level)
        : guard(deviceRate), rampStep(1.0f / static_cast<float>(rampTime.value * deviceRate)), gain(level) {}
    static constexpr Seconds rampTime = Seconds(0.05); ///< In which the level goes from silence to full.

    Guard guard;
    const float rampStep;
    float gain;
};

} // namespace

struct Player::Engine : juce::AudioIODeviceCallback {
    static constexpr int mostAtOnce = 256;
    using Clock = std::chrono::steady_clock;

    // ---- shared by message and device-control threads, never by the audio thread
    std::mutex setup;
    double deviceRate = 0.0; ///< 0: no device yet.

    // ---- owned by who holds the gate. The audio thread only tries it and is silent for a buffer when it is taken; the
    // others take it for the moment of an exchange.
    std::atomic_flag gate;
    std::unique_ptr<Programme> programme, beside; ///< The second one is there only while the first is.
    std::unique_ptr<Practice> practice;           ///< Where there is one, it is heard.
    std::unique_ptr<OutputStage> stage;

    // ---- wishes and facts
    std::atomic<float> level{static_cast<float>(amplitudeOfDecibels(startLevel.value))};
    std::atomic<double> levelDb{startLevel.value};
    TripleBuffer<Listening> listening;
    std::atomic<std::int64_t> callbacks{0};
    std::atomic<float> peakLeft{0.0f}, peakRight{0.0f};
    std::atomic<bool> guarded{false};
    static_assert(std::atomic<float>::is_always_lock_free);

    // ---- the audio thread's alone
    std::array<float, mostAtOnce> left{}, right{}, besideLeft{}, besideRight{};

    /// The two programmes are to take each other's place. Whoever holds the gate does it.
    struct ChangeOver {
        const SamePlace* place = nullptr;
        float beginsAt = 1.0f;
        bool done = false;
    };
    std::atomic<ChangeOver*> changeAsked{nullptr}; ///< Taken back when it was looked at.
    std::atomic<Clock::rep> lastCallback{0};
    static constexpr auto longestBuffer = std::chrono::milliseconds(100);

    /// [message thread] The audio thread does it at the beginning of a buffer, so that no buffer goes by between asking
    /// for the place and being there. Where no device asks for buffers it is done here.
    void changeOver(ChangeOver& one) {
        const std::lock_guard lock(setup); // a device of another rate gives each one its resampler
        changeAsked.store(&one, std::memory_order_release);
        const auto asked = Clock::now();
        const bool running = asked.time_since_epoch() - Clock::duration(lastCallback.load()) < longestBuffer;
        while (running && changeAsked.load(std::memory_order_acquire) && Clock::now() - asked < longestBuffer)
            std::this_thread::sleep_for(std::chrono::microseconds(500));
        if (changeAsked.load(std::memory_order_acquire)) atTheGate([&] { changeOverWhereAsked(); });
    }

    /// At the gate. Wait-free, allocates nothing.
    void changeOverWhereAsked() {
        ChangeOver* const one = changeAsked.load(std::memory_order_acquire);
        if (!one) return;
        one->done = changeOverNow(one->place, one->beginsAt);
        changeAsked.store(nullptr, std::memory_order_release);
    }

    bool changeOverNow(const SamePlace* place, float beginsAt) {
        if (place) {
            // What is given out now was mixed that long ago, and what is mixed now is given out that much later.
            const bool plays = programme->state.play;
            const std::int64_t heard = programme->place() - (plays ? programme->onTheWay() : 0);
            const std::int64_t target = beside->within((*place)(heard) + (plays ? beside->onTheWay() : 0));
            beside->state.seek = target;
            if (!beside->loader.readyAt(target)) return false;
        }
        std::swap(programme, beside);
        PlayState &state = programme->state, &other = beside->state;
        state.play = other.play.exchange(false);
        state.beginsAt = state.play ? beginsAt : 1.0f;
        return true;
    }

    template <class Exchange>
    void atTheGate(const Exchange& exchange) {
        while (gate.test_and_set(std::memory_order_acquire))
            std::this_thread::sleep_for(std::chrono::microseconds(200));
        exchange();
        gate.clear(std::memory_order_release);
    }

    Programme* of(Which which) const { return which == Which::heard ? programme.get() : beside.get(); }

    // `setup` is held.
    std::unique_ptr<OutputStage> makeStage() const {
        return deviceRate > 0.0 ? std::make_unique<OutputStage>(deviceRate, level) : nullptr;
    }
    template <class Played>
    std::unique_ptr<SumResampler> makeResampler(const Played* one) const {
        const bool needed = one && deviceRate > 0.0 && one->rate != deviceRate;
        return needed ? std::make_unique<SumResampler>(one->rate, deviceRate) : nullptr;
    }

    // What is exchanged is made before and freed after the gate is held.
    void exchangeProgramme(std::unique_ptr<Programme> next) {
        const std::lock_guard lock(setup);
        if (next) next->resampler = makeResampler(next.get());
        auto nextStage = makeStage();
        std::unique_ptr<Programme> noneBeside;
        atTheGate([&] {
            std::swap(programme, next);
            std::swap(beside, noneBeside);
            std::swap(stage, nextStage);
        });
    }

    void exchangeBeside(std::unique_ptr<Programme> next) {
        const std::lock_guard lock(setup);
        if (next) next->resampler = makeResampler(next.get());
        atTheGate([&] { std::swap(beside, next); });
    }

    void exchangePractice(std::unique_ptr<Practice> next) {
        const std::lock_guard lock(setup);
        if (next) next->resampler = makeResampler(next.get());
        auto nextStage = makeStage();
        atTheGate([&] {
            std::swap(practice, next);
            std::swap(stage, nextStage);
        });
    }

    void audioDeviceAboutToStart(juce::AudioIODevice* device) override {
        const std::lock_guard lock(setup);
        const double rate = device->getCurrentSampleRate();
        if (rate == deviceRate) return; // under JACK every change of connections calls this
        deviceRate = rate;
        auto nextStage = makeStage();
        auto resampler = makeResampler(programme.get()), besides = makeResampler(beside.get()),
             practices = makeResampler(practice.get());
        atTheGate([&] {
            std::swap(stage, nextStage);
            if (programme) std::swap(programme->resampler, resampler);
            if (beside) std::swap(beside->resampler, besides);
            if (practice) std::swap(practice->resampler, practices);
        });
    }
    void audioDeviceStopped() override {}

    void audioDeviceIOCallbackWithContext(const float* const*, int, float* const* outputs, int outputCount, int count,
                                          const juce::AudioIODeviceCallbackContext&) override {
        const juce::ScopedNoDenormals noDenormals;
        callbacks.fetch_add(1, std::memory_order_relaxed);
        lastCallback.store(Clock::now().time_since_epoch().count(), std::memory_order_relaxed);
        for (int channel = 0; channel < outputCount; ++channel)
            if (outputs[channel]) std::fill_n(outputs[channel], count, 0.0f);
        if (gate.test_and_set(std::memory_order_acquire)) return;
        changeOverWhereAsked();
        if ((programme || practice) && stage)
            for (int done = 0; done < count; done += mostAtOnce) {
                const int now = std::min(mostAtOnce, count - done);
                fill(now);
                if (outputCount >= 2) {
                    if (outputs[0]) std::copy_n(left.data(), now, outputs[0] + done);
                    if (outputs[1]) std::copy_n(right.data(), now, outputs[1] + done);
                } else if (outputCount == 1 && outputs[0]) {
                    for (int n = 0; n < now; ++n) {
                        const auto i = static_cast<std::size_t>(n);
                        outputs[0][done + n] = 0.5f * (left[i] + right[i]);
                    }
                }
            }
        gate.clear(std::memory_order_release);
    }

    /// [audio thread] At the rate of what is played, a programme or a practice room.
    template <class Played>
    void renderSum(Played& one, float* l, float* r, int count) {
        one.sum.render(l, r, count);
        one.meter.push(l, r, count);
        listening.take();
        one.monitor.process(l, r, count, listening.held());
    }

    /// [audio thread] At the device's rate.
    template <class Played>
    void pull(Played& one, float* l, float* r, int count) {
        if (one.resampler)
            one.resampler->pull([&](float* toL, float* toR) { renderSum(one, toL, toR, SumResampler::step); }, l, r,
                                count);
        else
            renderSum(one, l, r, count);
    }

    /// [audio thread] Makes `count` samples of output in `left` and `right`.
    void fill(int count) {
        if (practice)
            pull(*practice, left.data(), right.data(), count);
        else
            pull(*programme, left.data(), right.data(), count);
        if (beside && !practice) { // it is silent but for the end of a change over; and it takes its wishes there
            pull(*beside, besideLeft.data(), besideRight.data(), count);
            juce::FloatVectorOperations::add(left.data(), besideLeft.data(), count);
            juce::FloatVectorOperations::add(right.data(), besideRight.data(), count);
        }

        const float wanted = level;
        for (int n = 0; n < count; ++n) {
            const auto i = static_cast<std::size_t>(n);
            stage->gain += std::clamp(wanted - stage->gain, -stage->rampStep, stage->rampStep);
            left[i] *= stage->gain;
            right[i] *= stage->gain;
        }
        if (stage->guard.process(left.data(), right.data(), count)) guarded = true;
        raise(peakLeft, left.data(), count);
        raise(peakRight, right.data(), count);
    }

    static void raise(std::atomic<float>& peak, const float* samples, int count) {
        float highest = 0.0f;
        for (int n = 0; n < count; ++n)
            highest = std::max(highest, std::abs(samples[n]));
        // A reading between load and store only shows this peak once more.
        if (highest > peak.load(std::memory_order_relaxed)) peak.store(highest, std::memory_order_relaxed);
    }

    bool sounding() const { return practice ? practice->sum.sounding() : programme && programme->state.sounding; }
    void stop() {
        if (practice)
            practice->sum.stop();
        else if (programme)
            programme->state.play = false;
    }

    /// Waits until the sound has faded, or until it is clear that no device asks for it.
    void fadeOut() {
        using namespace std::chrono_literals;
        stop();
        if (!sounding()) return;
        std::int64_t last = callbacks;
        for (int idle = 0; sounding() && idle < 250;) { // ms; no buffer in use is longer
            std::this_thread::sleep_for(1ms);
            const std::int64_t current = callbacks;
            idle = current == last ? idle + 1 : 0;
            last = current;
        }
        std::this_thread::sleep_for(30ms); // the end of the fade is still in the resampler and the guard
    }
};

Player::Player() : engine(std::make_unique<Engine>()) {}

Player::~Player() {
    practise(nullptr);
    open(nullptr, {});
}

juce::AudioIODeviceCallback& Player::callback() {
    return *engine;
}

void Player::open(std::shared_ptr<const Recording> recording) {
    std::vector<TrackInfo> tracks = recording ? recording->tracks() : std::vector<TrackInfo>{};
    open(std::shared_ptr<const SampleSource>(std::move(recording)), std::move(tracks));
}

void Player::open(std::shared_ptr<const SampleSource> source, std::vector<TrackInfo> tracks) {
    if (!engine->practice) engine->fadeOut();
    std::unique_ptr<Programme> next;
    if (source) next = std::make_unique<Programme>(std::move(source), std::move(tracks));
    engine->exchangeProgramme(std::move(next));
    if (engine->programme) {
        setAdjustments({});
        setLoop(0, engine->programme->source->length());
    }
}

void Player::openBeside(std::shared_ptr<const Recording> recording) {
    std::vector<TrackInfo> tracks = recording ? recording->tracks() : std::vector<TrackInfo>{};
    openBeside(std::shared_ptr<const SampleSource>(std::move(recording)), std::move(tracks));
}

void Player::openBeside(std::shared_ptr<const SampleSource> source, std::vector<TrackInfo> tracks) {
    if (!engine->programme) return;
    std::unique_ptr<Programme> next;
    if (source) next = std::make_unique<Programme>(std::move(source), std::move(tracks));
    engine->exchangeBeside(std::move(next));
    if (!engine->beside) return;
    hear({}, Which::beside);
    setLoop(0, engine->beside->source->length(), Which::beside);
}

bool Player::besideReady() const {
    return engine->beside && engine->beside->loader.caughtUp();
}

bool Player::changeOver(Decibels louder, const SamePlace& place) {
    if (!engine->beside) return false;
    const double startDb = std::min(LiveSum::mostLouderDb - louder.value, 0.0);
    Engine::ChangeOver one{place ? &place : nullptr, static_cast<float>(amplitudeOfDecibels(startDb))};
    engine->changeOver(one);
    (one.done ? engine->programme : engine->beside)->loader.wake();
    return one.done;
}

void Player::practise(std::shared_ptr<PracticeSum> room) {
    if (!room && !engine->practice) return;
    engine->fadeOut();
    engine->exchangePractice(room ? std::make_unique<Practice>(std::move(room)) : nullptr);
}

void Player::play() {
    if (engine->practice) return engine->practice->sum.play();
    if (!engine->programme) return;
    if (engine->programme->loader.failed()) engine->programme->loader.retry();
    engine->programme->state.play = true;
    engine->programme->loader.wake();
}

void Player::stop() {
    engine->stop();
}

bool Player::playing() const {
    if (engine->practice) return engine->practice->sum.playing();
    return engine->programme && engine->programme->state.play;
}

bool Player::ready() const {
    return engine->practice || (engine->programme && engine->programme->loader.caughtUp());
}

void Player::setAdjustments(std::vector<TrackAdjustment> adjustments, std::vector<bool> solo) {
    HeardMix mix;
    mix.adjustments = std::move(adjustments);
    mix.solo = std::move(solo);
    hear(mix);
}

void Player::hear(const HeardMix& mix, Which which) {
    if (!engine->of(which)) return;
    Programme& programme = *engine->of(which);
    PlayState& state = programme.state;
    programme.remark.clear();
    Seconds farthest = Seconds(0.1); // so that a smaller nudge is always heard at once
    const auto reach = [&](const std::vector<TrackAdjustment>& adjustments) {
        for (std::size_t track = 0; track < std::min(adjustments.size(), programme.tracks.size()); ++track) {
            const Seconds nudge = std::max(adjustments[track].nudge, -adjustments[track].nudge);
            farthest = std::max(farthest, std::min(nudge, largestNudge));
            if (nudge > largestNudge)
                programme.remark =
                    programme.tracks[track].name + ": nudged by more than can be played; heard nudged by 1 s";
        }
    };
    reach(mix.adjustments);
    if (mix.less) reach(mix.less->adjustments);
    // The mix that fades out needs its own margin a while longer.
    const std::int64_t margin = programme.margin(farthest);
    state.before = state.after = std::max(margin, programme.lastMargin);
    programme.lastMargin = margin;
    state.mix.draft().set(programme.tracks, mix, programme.rate, largestNudge);
    state.mix.publish();
    programme.loader.wake();
}

void Player::setListening(const Listening& wanted) {
    engine->listening.draft() = wanted;
    engine->listening.publish();
}

void Player::playInstead(std::shared_ptr<const TrackSound> sound) {
    if (!engine->programme) return;
    Programme& programme = *engine->programme;
    programme.forgetStandIns();
    if (!sound && programme.standIns.empty()) return;
    programme.standIns.push_back(std::make_unique<StandIn>(std::move(sound)));
    if (StandIn* const untaken = programme.state.standIn.exchange(programme.standIns.back().get())) untaken->letGo();
}

void Player::seek(std::int64_t sample, Which which) {
    if (!engine->of(which)) return;
    Programme& programme = *engine->of(which);
    programme.state.seek = programme.within(sample);
    programme.loader.wake();
}

void Player::setLoop(std::int64_t from, std::int64_t to, Which which) {
    if (!engine->of(which)) return;
    Programme& programme = *engine->of(which);
    const std::int64_t length = programme.source->length();
    const std::int64_t shortest = std::llround(LiveSum::shortestLoop.value * programme.rate);
    from = std::clamp<std::int64_t>(from, 0, std::max<std::int64_t>(length - 1, 0));
    to = std::max(std::min(to, length), from + shortest);
    programme.loop = {from, to};
    programme.state.loop.draft() = programme.loop;
    programme.state.loop.publish();
    programme.state.loopFrom = from;
    if (const std::int64_t at = programme.place(); at < from || at >= to) seek(from, which);
    programme.loader.wake();
}

std::int64_t Player::loopFrom() const {
    return engine->programme ? engine->programme->loop.from : 0;
}

std::int64_t Player::loopTo() const {
    return engine->programme ? engine->programme->loop.to : 0;
}

std::int64_t Player::position() const {
    if (!engine->programme) return 0;
    return engine->programme->place();
}

void Player::setOutputLevel(Decibels wanted) {
    const double levelDb = std::min(wanted.value, 0.0);
    engine->levelDb = levelDb;
    engine->level = static_cast<float>(amplitudeOfDecibels(levelDb));
}

Decibels Player::outputLevel() const {
    return Decibels(engine->levelDb);
}

Player::Meters Player::meters() {
    if (engine->programme) engine->programme->forgetStandIns();
    Meters meters;
    meters.peakLeft = engine->peakLeft.exchange(0.0f);
    meters.peakRight = engine->peakRight.exchange(0.0f);
    if (engine->practice)
        meters.sum = engine->practice->meter.read();
    else if (engine->programme)
        meters.sum = engine->programme->meter.read();
    meters.guardActive = engine->guarded.exchange(false);
    meters.dropouts = engine->programme ? engine->programme->state.dropouts.load() : 0;
    return meters;
}

void Player::resetMeters() {
    if (engine->practice)
        engine->practice->meter.reset();
    else if (engine->programme)
        engine->programme->meter.reset();
}

std::vector<std::vector<float>> Player::samplesAround(int count) const {
    if (!engine->programme) return {};
    auto& blocks = engine->programme->blocks;
    SongBlocks::Pinned pinned(blocks);
    const std::int64_t from = engine->programme->state.position - count / 2;
    if (!pinned.pin(from, from + count)) return {};
    std::vector<std::vector<float>> samples(static_cast<std::size_t>(blocks.trackCount()));
    for (std::size_t track = 0; track < samples.size(); ++track) {
        samples[track].resize(static_cast<std::size_t>(count));
        const float* const found = pinned.read(static_cast<int>(track), from, count, samples[track].data());
        if (found != samples[track].data()) std::copy_n(found, count, samples[track].begin());
    }
    return samples;
}

std::string Player::trouble() const {
    if (!engine->programme) return {};
    if (const auto fault = engine->programme->loader.fault()) return fault->line();
    return engine->programme->remark;
}

} // namespace spillwright
