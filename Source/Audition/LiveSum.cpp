#include "Audition/LiveSum.h"

#include "Audition/FadeCurve.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace spillwright {

void LiveSum::Bus::clear(int count) {
    std::fill_n(left.begin(), count, 0.0f);
    std::fill_n(right.begin(), count, 0.0f);
}

const float* LiveSum::Deck::read(std::size_t voice, std::int64_t from, int count, float* scratch) const {
    const int track = static_cast<int>(mix.trackOf(voice));
    return standIn && !standIn->files() ? standIn->read(track, from, count, scratch)
                                        : pinned.read(track, from, count, scratch);
}

LiveSum::LiveSum(SongBlocks& songBlocks, PlayState& playState, double sampleRate, std::int64_t recordingLength,
                 Seconds ahead)
    : blocks(songBlocks), state(playState), length(recordingLength), readyAhead(std::llround(ahead.value * sampleRate)),
      fade(static_cast<int>(std::lround(fadeTime.value * sampleRate))), hertz(sampleRate),
      fadeCurve(fadeCurveOf(fade)), decks{Deck(blocks), Deck(blocks)},
      changed(decks[0].mix.voiceCount(), 0), loop{0, std::max(length, static_cast<std::int64_t>(std::llround(
                                                                          shortestLoop.value * sampleRate)))},
      scratch(static_cast<std::size_t>(std::ceil(TrackChain::longestSettling.value * sampleRate)) + mostAtOnce +
              FractionalDelay::taps),
      treated(mostAtOnce) {
    for (Bus* bus : {&common, &incoming, &outgoing}) {
        bus->left.resize(mostAtOnce);
        bus->right.resize(mostAtOnce);
    }
}

void LiveSum::render(float* left, float* right, int count) {
    while (count > 0) {
        takeWishes();
        decideCurtain();
        int chunk = std::min(count, mostAtOnce);
        if (fadeLeft > 0) chunk = std::min(chunk, fadeLeft);
        if (!open) chunk = std::min(chunk, curtain);
        if (!wrapOwed) chunk = static_cast<int>(std::min<std::int64_t>(chunk, toBoundary()));
        if (chunk == 0 || !mixTogether(left, right, chunk)) {
            std::fill_n(left, count, 0.0f);
            std::fill_n(right, count, 0.0f);
            break;
        }
        drawCurtain(left, right, chunk);
        const bool atBoundary = !wrapOwed && chunk == toBoundary();
        now->position += chunk;
        before->position += chunk;
        if (fadeLeft > 0) {
            fadeLeft -= chunk;
            if (fadeLeft == 0) before->pinned.release();
        }
        if (atBoundary) beginLoopAnew();
        left += chunk;
        right += chunk;
        count -= chunk;
    }
    state.position = now->position;
    state.sounding = !silent();
}

std::int64_t LiveSum::boundaryAfter(std::int64_t position) const {
    return position < loop.to ? loop.to : std::max(length, loop.to);
}

std::int64_t LiveSum::landing(std::int64_t target) const {
    target = std::clamp<std::int64_t>(target, 0, std::max(length, loop.to) - 1);
    // A cross-fade must have ended before the next one: who lands just before the end of the loop, lands at its head.
    return boundaryAfter(target) - target < fade ? loop.from : target;
}

bool LiveSum::ready(const Mix& mix, std::int64_t from, std::int64_t samples) const {
    return blocks.holds(from - mix.before, from + samples + mix.after);
}

bool LiveSum::readyToGoOn(std::int64_t samples) const {
    return ready(now->mix, now->position, samples) &&
           (wrapOwed || toBoundary() > samples || ready(now->mix, loop.from, samples));
}

void LiveSum::takeWishes() {
    if (fadeLeft > 0) return; // one fade at a time; the newest wish is taken when it has ended
    takeStandIn();
    if (silent() && wrapOwed) {
        wrapOwed = false;
        now->position = loop.from;
    }
    if (state.loop.take()) loop = state.loop.held();
    if (state.mix.take()) mixWaits = true;
    if (silent()) now->level = 1.0f;
    if (silent() && std::exchange(mixWaits, false)) now->mix.copyFrom(state.mix.held());

    const std::int64_t asked = state.seek;
    if (asked != PlayState::nowhere) {
        const std::int64_t target = landing(asked);
        // Until there is enough to go on with, what sounds goes on.
        const bool jumps = !silent() && ready(mixWaits ? state.mix.held() : now->mix, target, readyAhead);
        if (jumps) jump(target);
        if (silent()) now->position = target;
        if (jumps || silent()) {
            wrapOwed = false;
            state.position = now->position; // before the wish is taken back: one of the two always tells the place
            std::int64_t expected = asked;
            state.seek.compare_exchange_strong(expected, PlayState::nowhere);
        }
        if (jumps) return;
    }
    if ((mixWaits || standInWaits) && toBoundary() >= fade && ready(state.mix.held(), now->position, mostAtOnce + fade))
        changeMix();
}

/// What has faded out is let go, and what is asked for waits until it may fade in.
void LiveSum::takeStandIn() {
    if (before->standIn != now->standIn) {
        if (before->standIn) before->standIn->letGo();
        before->standIn = now->standIn;
    }
    if (StandIn* const asked = state.standIn.exchange(nullptr)) {
        if (standInWaits) standInWaits->letGo();
        standInWaits = asked;
    }
    if (!silent() || !standInWaits) return;
    if (now->standIn) now->standIn->letGo();
    now->standIn = before->standIn = std::exchange(standInWaits, nullptr);
}

void LiveSum::changeMix() {
    const bool newMix = std::exchange(mixWaits, false);
    std::swap(now, before);
    now->mix.copyFrom(state.mix.held());
    now->standIn = standInWaits ? std::exchange(standInWaits, nullptr) : before->standIn;
    const bool otherSound = now->standIn != before->standIn;
    now->position = before->position;
    startNow(newMix);
    now->pinned.pin(now->position - now->mix.before, now->position + now->mix.after);
    bool any = false;
    for (std::size_t voice = 0; voice < changed.size(); ++voice) {
        changed[voice] = otherSound || now->level != 1.0f || !now->mix.sameVoice(before->mix, voice);
        any = any || changed[voice];
        const TrackChain& old = before->mix.chains[voice];
        if (!otherSound && now->mix.chains[voice].canContinue(old) && !old.muted())
            now->mix.chains[voice].continueFrom(old);
        else
            settle(voice);
    }
    fadeLeft = any ? fade : 0;
    if (!any) before->pinned.release();
}

/// The decks have changed places. How loud the new one begins; and what the old one still needs while it fades is
/// pinned here, since once the position has moved nobody else keeps it.
void LiveSum::startNow(bool newMix) {
    const double levelDb = decibelsOfAmplitude(static_cast<double>(before->level));
    double startDb = levelDb;
    const bool comparable = before->mix.loudness && before->mix.loudnessBasis == now->mix.loudnessBasis;
    if (newMix && now->mix.loudness && (comparable || now->mix.heardBefore)) {
        double heard = comparable ? *before->mix.loudness + levelDb : *now->mix.heardBefore;
        if (now->mix.heardBefore) heard = std::min(heard, *now->mix.heardBefore);
        // Amid a rise it goes on from where it is.
        startDb = std::min(heard - *now->mix.loudness + (levelDb < 0.0 ? 0.0 : mostLouderDb), 0.0);
    }
    beginAt(startDb);
    outgoingThere =
        before->pinned.pin(before->position - before->mix.before, before->position + fade + before->mix.after);
}

void LiveSum::beginAt(double startDb) {
    now->level = startDb < 0.0 ? static_cast<float>(amplitudeOfDecibels(startDb)) : 1.0f;
    now->riseStep = static_cast<float>(amplitudeOfDecibels(std::max(riseRate, -startDb / longestRise.value) / hertz));
}

void LiveSum::jump(std::int64_t target) {
    const bool newMix = mixWaits && ready(state.mix.held(), target, mostAtOnce + fade);
    std::swap(now, before);
    now->mix.copyFrom(newMix ? state.mix.held() : before->mix);
    if (newMix) mixWaits = false;
    now->standIn = standInWaits ? std::exchange(standInWaits, nullptr) : before->standIn;
    now->position = target;
    startNow(newMix);
    settleAll();
    std::fill(changed.begin(), changed.end(), 1);
    fadeLeft = fade;
}

void LiveSum::beginLoopAnew() {
    if (ready(now->mix, loop.from, mostAtOnce + fade))
        jump(loop.from);
    else
        wrapOwed = true; // the curtain is falling; what lies past the loop's end sounds beneath it
}

void LiveSum::settleAll() {
    now->pinned.pin(now->position - now->mix.before, now->position + now->mix.after);
    for (std::size_t voice = 0; voice < changed.size(); ++voice)
        settle(voice);
}

void LiveSum::settle(std::size_t voice) {
    TrackChain& chain = now->mix.chains[voice];
    if (chain.muted() || chain.settlingSamples() == 0) return;
    const auto back = chain.samplesBefore() + chain.settlingSamples();
    const int span = static_cast<int>(back + chain.samplesAfter());
    chain.settle(now->read(voice, now->position - back, span, scratch.data()) + back);
}

void LiveSum::decideCurtain() {
    const bool wasOpen = open;
    const bool wanted = state.play;
    if (wasOpen || curtain > 0) {
        // Looking ahead by the time the curtain takes, and by what may be played before the next look.
        const bool fed = readyToGoOn(mostAtOnce + fade);
        open = wanted && fed;
        if (wasOpen && wanted && !fed) ++state.dropouts;
    } else if (wanted && readyToGoOn(readyAhead)) {
        beginAt(decibelsOfAmplitude(static_cast<double>(state.beginsAt.exchange(1.0f))));
        settleAll();
        open = true;
    }
}

bool LiveSum::mixTogether(float* left, float* right, int count) {
    const std::int64_t from = now->position - now->mix.before, to = now->position + count + now->mix.after;
    if (!now->pinned.pin(from, to)) { // cannot be, as long as the loader keeps what lies ahead of the position
        ++state.dropouts;
        open = false;
        closeCurtain();
        return false;
    }
    const bool fading = fadeLeft > 0;
    const bool fadingOut = fading && outgoingThere;
    for (Bus* bus : {&common, &incoming, &outgoing})
        bus->clear(count);
    for (std::size_t voice = 0; voice < changed.size(); ++voice) {
        add(*now, voice, fading && changed[voice] ? incoming : common, count);
        if (fadingOut && changed[voice]) add(*before, voice, outgoing, count);
    }
    rise(count);
    std::copy_n(common.left.begin(), count, left);
    std::copy_n(common.right.begin(), count, right);
    if (fading)
        for (int n = 0; n < count; ++n) {
            const auto i = static_cast<std::size_t>(n);
            const float in = fadeCurve[static_cast<std::size_t>(fade - fadeLeft + n)];
            left[n] += in * incoming.left[i] + (1.0f - in) * outgoing.left[i];
            right[n] += in * incoming.right[i] + (1.0f - in) * outgoing.right[i];
        }
    return true;
}

/// Where a deck's level is not 1 all voices have changed: while they fade nothing is on the common bus.
void LiveSum::rise(int count) {
    if (fadeLeft > 0 && before->level != 1.0f)
        for (auto* side : {&outgoing.left, &outgoing.right})
            juce::FloatVectorOperations::multiply(side->data(), before->level, count);
    if (now->level == 1.0f) return;
    Bus& heard = fadeLeft > 0 ? incoming : common;
    for (int n = 0; n < count; ++n) {
        now->level = std::min(now->level * now->riseStep, 1.0f);
        heard.left[static_cast<std::size_t>(n)] *= now->level;
        heard.right[static_cast<std::size_t>(n)] *= now->level;
    }
}

void LiveSum::add(Deck& deck, std::size_t voice, Bus& bus, int count) {
    TrackChain& chain = deck.mix.chains[voice];
    if (chain.muted()) return;
    const auto back = chain.samplesBefore();
    const int span = static_cast<int>(back + count + chain.samplesAfter());
    const float* samples = deck.read(voice, deck.position - back, span, scratch.data());
    chain.process(samples + back, treated.data(), count);
    if (const float gain = deck.mix.left[voice]; gain != 0.0f)
        juce::FloatVectorOperations::addWithMultiply(bus.left.data(), treated.data(), gain, count);
    if (const float gain = deck.mix.right[voice]; gain != 0.0f)
        juce::FloatVectorOperations::addWithMultiply(bus.right.data(), treated.data(), gain, count);
}

void LiveSum::drawCurtain(float* left, float* right, int count) {
    const int end = open ? fade : 0;
    if (curtain == end && open) return;
    for (int n = 0; n < count; ++n) {
        if (curtain != end) curtain += open ? 1 : -1;
        left[n] *= fadeCurve[static_cast<std::size_t>(curtain)];
        right[n] *= fadeCurve[static_cast<std::size_t>(curtain)];
    }
    if (curtain == 0) closeCurtain();
}

void LiveSum::closeCurtain() {
    curtain = 0;
    fadeLeft = 0;
    now->pinned.release();
    before->pinned.release();
}

} // namespace spillwright
