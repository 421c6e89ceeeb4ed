#include "Desk/Words.h"

#include "Desk/Amounts.h"
#include "Desk/Commands.h"
#include "Session/SpillFindings.h"
#include "Session/Words.h"

#include <algorithm>
#include <cmath>

namespace spillwright::desk::words {

namespace {

constexpr double almostCertainFrom = 0.95, sureFrom = 0.8, likelyFrom = 0.6;
constexpr const char* dot = " \u00b7 ";

std::size_t at(int index) {
    return static_cast<std::size_t>(index);
}

std::string trusted(double confidence) {
    // Nothing that is measured is certain.
    return certainty(confidence) + ", " + std::to_string(std::clamp(static_cast<int>(100.0 * confidence), 0, 99)) +
           " %";
}

std::string timeWithUncertainty(Seconds time, Seconds uncertainty) {
    const double ms = inMilliseconds(time);
    return withUncertainty(ms, inMilliseconds(uncertainty), 3) + " ms" + (ms < 0.0 ? " earlier" : " later");
}

constexpr double noDelayMs = 0.005;

/// "0.31 ms later", "no delay"; no more exact than `uncertaintyMs` lets it be.
std::string delayInWords(double ms, double uncertaintyMs) {
    if (std::abs(ms) < noDelayMs) return "no delay";
    return unsignedAmount(ms, uncertaintyMs >= 1.0   ? 0
                              : uncertaintyMs >= 0.1 ? 1
                                                     : 2) +
           " ms " + (ms > 0.0 ? "later" : "earlier");
}

const char* wayUp(Polarity polarity) {
    return polarity == Polarity::inverted ? "upside down" : "same way up";
}

Polarity flipped(Polarity polarity) {
    return polarity == Polarity::inverted ? Polarity::same : Polarity::inverted;
}

std::string movement(const std::optional<Movement>& found) {
    if (!found) return "too few moments to tell";
    switch (found->kind) {
    case MovementKind::still:
        return "holds still";
    case MovementKind::drifts:
        return "drifts by " + withUncertainty(found->driftPpm, found->driftPpmUncertainty, 2) + " ppm";
    case MovementKind::steps:
        return "steps by " + signedAmount(inMilliseconds(found->step), 2) + " ms" +
               (found->stepTime ? " at " + clockText(std::round(found->stepTime->value), false) : "");
    case MovementKind::wanders:
        return "wanders over " + unsignedAmount(inMilliseconds(found->range), 2) + " ms";
    }
    return {};
}

std::string counted(int count, const std::string& noun) {
    return std::to_string(count) + " " + noun + (count == 1 ? "" : "s");
}

/// What stands in the place of an arrival.
std::string whyNoArrival(Shared shared) {
    switch (shared) {
    case Shared::oneTone:
        return "one tone in common: no one arrival";
    case Shared::mainsHum:
        return "unrelated: only mains hum in common";
    case Shared::noiseFloor:
        return "unrelated: only a noise floor in common";
    case Shared::offset:
        return "unrelated: only a constant offset in common";
    case Shared::nothing:
        return "unrelated: nothing in common beyond chance";
    case Shared::sound:
    case Shared::printed:
        break;
    }
    return "same sound, but no one arrival";
}

} // namespace

std::string recording(const Controller& controller) {
    if (!controller.recording()) return "no recording is open";
    const auto& source = *controller.recording();
    const double kHz = source.sampleRate() / 1000.0;
    const bool whole = std::abs(kHz - std::round(kHz)) < 1e-9;
    const Band band = controller.measurement() ? controller.measurement()->options.band : lowMidBand;
    return unsignedAmount(kHz, whole ? 0 : 1) + " kHz" + dot + counted(source.trackCount(), "track") + dot +
           clockText(static_cast<double>(source.length()) / source.sampleRate(), false) + dot + "low-mid " +
           unsignedAmount(band.low.value, 0) + "\u2013" + unsignedAmount(band.high.value, 0) + " Hz";
}

std::string moments(const ReadSpan& span) {
    return clockText(span.from.value, false) + "\u2013" + clockText(span.to.value, false);
}

std::string reads(const Controller& controller) {
    if (!controller.measurement()) return {};
    const auto& source = *controller.recording();
    const auto length = clockText(static_cast<double>(source.length()) / source.sampleRate(), false);
    if (const auto alone = controller.focused()) return "reads " + controller.shownSourceName(*alone) + " alone";
    const auto span = controller.readMoments();
    if (span) return "reads " + moments(*span) + " of " + length;
    const bool loopMissing = controller.readsLoop() && !controller.readingLoop();
    return loopMissing ? "reads the whole: drag a loop" : "reads the whole, " + length;
}

std::string cell(const Controller& controller, int source, int track) {
    const auto* reading = controller.spill(source, track);
    if (!reading) return controller.shownName(track) + ": takes no part";
    const auto& close = controller.withSources()->sources->map.plan.sources[at(source)].closeTracks;
    std::string text = controller.shownSourceName(source) + " in " + controller.shownName(track) + ": ";
    if (reading->level)
        text += signedAmount(reading->level->value, 1) + " dB" +
                (reading->levelLowMid ? ", low-mid " + signedAmount(reading->levelLowMid->value, 1) : "");
    else
        text += untoldInWords(reading->whyNoLevel);
    text += dot + unsignedAmount(100.0 * reading->shareOfTrack, 0) + " % of the track";
    if (track == close.front()) return text + "\nits close track, against which the others are read";
    text += "\n";
    if (reading->arrival)
        text += timeWithUncertainty(reading->arrival->delay, reading->arrival->uncertainty) + " (" +
                distanceText(reading->arrival->delay, reading->arrival->uncertainty,
                             controller.withSources()->options.temperature, controller.units().distances) +
                ")";
    else
        text += "when: " + std::string(untoldInWords(reading->whyNoArrival));
    if (reading->polarity)
        text += std::string(dot) + wayUp(reading->polarity->polarity) +
                (reading->polarity->confidence >= sureFrom ? "" : ", not sure");
    if (std::find(close.begin(), close.end(), track) != close.end()) text += std::string(dot) + "a close track too";
    return text;
}

std::vector<std::pair<std::string, bool>> findings(const Controller& controller) {
    std::vector<std::pair<std::string, bool>> lines;
    const auto* m = controller.withSources();
    if (!m || m->sources->map.readings.empty()) {
        lines.emplace_back(controller.hearingSources() ? "The sources are being heard." : "No sources are told apart.",
                           false);
        return lines;
    }
    lines.emplace_back("order of entry, most spill first", true);
    for (const auto& entry : orderOfEntry(*m))
        lines.emplace_back(controller.shownName(entry.track) + ": " + entryInWords(*m, entry), false);
    if (const int source = controller.chosenSource(); source >= 0) {
        lines.emplace_back("who can help the close track of " + controller.shownSourceName(source) +
                               " (a click on the map chooses another)",
                           true);
        for (const auto& helper : rescueFor(*m, source)) {
            if (!helper.level) continue;
            std::string text = controller.shownName(helper.track) + ": " + signedAmount(helper.level->value, 1) +
                               " dB, leads in " + unsignedAmount(100.0 * helper.bandwidth, 0) +
                               " % of its bandwidth; adds " + signedAmount(helper.gain.value, 1) + " dB as recorded";
            std::string by = helper.flip ? "flipped" : "";
            if (helper.nudge)
                by += std::string(by.empty() ? "" : " and ") + "nudged " + nudgeText(*helper.nudge) + " ms";
            if (const auto tone = toneInWords(*m, helper); !tone.empty()) text += "; tone " + tone;
            if (!by.empty()) text += "; " + signedAmount(helper.gainLinedUp.value, 1) + " dB " + by;
            lines.emplace_back(text, false);
        }
    }
    if (const auto open = unexplainedInWords(*m); !open.empty()) {
        lines.emplace_back("without a close track", true);
        lines.emplace_back(open.front(), false);
    }
    if (const auto spacing = spacingInWords(*m); !spacing.empty()) {
        lines.emplace_back("spacing", true);
        for (const auto& line : spacing)
            lines.emplace_back(line, false);
    }
    return lines;
}

std::string certainty(double confidence) {
    return confidence >= almostCertainFrom ? "almost certain"
           : confidence >= sureFrom        ? "sure"
           : confidence >= likelyFrom      ? "likely"
                                           : "a guess";
}

bool isSure(double confidence) {
    return confidence >= sureFrom;
}

bool sure(const PairReading& reading) {
    return reading.arrival && reading.polarity && isSure(reading.arrival->confidence) &&
           isSure(reading.polarity->confidence);
}

PairWords pair(const Controller& controller, int first, int second) {
    PairWords result;
    if (first < 0 || second < 0) {
        result.sentence = "Choose a square of the grid to see two tracks.";
        return result;
    }
    const int a = std::min(first, second), b = std::max(first, second);
    result.names = controller.shownName(a) + dot + controller.shownName(b);
    const auto* reading = controller.reading(a, b);
    if (!reading) {
        const auto missing = [&](const std::vector<TrackInfo>& tracks) {
            return tracks[at(a)].state != TrackState::ok || tracks[at(b)].state != TrackState::ok;
        };
        result.sentence = !controller.measurement()                   ? "not measured yet"
                          : missing(controller.tracks())              ? "a silent or unreadable track takes no part"
                          : missing(controller.measurement()->tracks) ? "one of the two is silent in these moments"
                                                                      : "not measured";
        return result;
    }
    const std::string coherence = unsignedAmount(reading->coherence, 2) + " (" +
                                  unsignedAmount(reading->coherenceLow, 2) + "\u2013" +
                                  unsignedAmount(reading->coherenceHigh, 2) + ")";
    if (!reading->arrival) {
        result.sentence = whyNoArrival(reading->shared);
        if (reading->shared == Shared::oneTone) result.rows.push_back({"arrival", "known only to the tone's period"});
        result.rows.push_back({"coherence", coherence});
        if (reading->movement) result.rows.push_back({"in time", movement(reading->movement)});
    } else {
        const auto& arrival = *reading->arrival;
        const double ms = inMilliseconds(arrival.delay);
        const bool printed = reading->shared == Shared::printed;
        const bool guessed = arrival.confidence < likelyFrom;
        result.sentence = printed ? "printed on both" : guessed ? "same sound, perhaps" : "same sound";
        const std::string delay = delayInWords(ms, guessed ? inMilliseconds(arrival.uncertainty) : 0.0);
        result.sentence += (std::abs(ms) < noDelayMs ? ", " : " ") + delay;
        if (reading->polarity) result.sentence += std::string(", ") + wayUp(reading->polarity->polarity);
        result.sure = sure(*reading);
        result.sureness = result.sure ? "sure" : "not sure";

        result.rows.push_back(
            {"arrival", timeWithUncertainty(arrival.delay, arrival.uncertainty) + dot + trusted(arrival.confidence)});
        const double rate = controller.recording()->sampleRate();
        result.rows.push_back(
            {"samples", withUncertainty(arrival.delay.value * rate, arrival.uncertainty.value * rate, 2) +
                            (ms < 0.0 ? " earlier" : " later")});
        result.rows.push_back(
            {"fitted", reading->arrivalFitted
                           ? timeWithUncertainty(reading->arrivalFitted->delay, reading->arrivalFitted->uncertainty)
                       : reading->closesTriangles == false ? "contradicts the pairs beside it"
                                                           : "no triangle of pairs holds it"});
        if (reading->polarity)
            result.rows.push_back(
                {"polarity", wayUp(reading->polarity->polarity) + std::string(dot) +
                                 trusted(reading->polarity->confidence) +
                                 (reading->bandsDisagree ? std::string(dot) + "low end opposed" : "")});
        const auto temperature = controller.measurement()->options.temperature;
        const auto inUnit = [&](DistanceUnit unit) {
            return distanceText(arrival.delay, arrival.uncertainty, temperature, unit);
        };
        const auto unit = controller.units().distances;
        const auto other = unit == DistanceUnit::metric ? DistanceUnit::inches : DistanceUnit::metric;
        result.rows.push_back(
            {"distance", printed ? "none: by wire, no room between" : inUnit(unit) + dot + inUnit(other)});
        result.rows.push_back({"coherence", coherence});
        if (!controller.readMoments()) result.rows.push_back({"in time", movement(reading->movement)});
    }
    if (const auto state = controller.pairNow(a, b); state && reading->related) {
        const auto &ofA = controller.adjustments()[at(a)], &ofB = controller.adjustments()[at(b)];
        const double shiftMs = inMilliseconds(ofB.nudge) - inMilliseconds(ofA.nudge);
        const bool turned = ofA.flip != ofB.flip;
        std::string standing; // what flips and nudges have made of it
        if (reading->arrival && (turned || std::abs(shiftMs) >= noDelayMs)) {
            result.sentence = "recorded: " + result.sentence;
            if (reading->polarity)
                standing = std::string(" ") +
                           wayUp(turned ? flipped(reading->polarity->polarity) : reading->polarity->polarity) + ",";
            if (std::abs(shiftMs) >= noDelayMs)
                standing += " " + delayInWords(inMilliseconds(reading->arrival->delay) + shiftMs, 0.0) + ",";
        }
        result.now =
            state->heard ? "now" + standing + " " + gainText(state->gainDb) + " dB" : "one of the two is not heard";
        result.now += dot + ("as recorded " + gainText(reading->summationGain.value)) + dot + "flipped " +
                      gainText(reading->summationGainFlipped.value);
    }
    return result;
}

std::string lines(const PairWords& pair) {
    if (pair.names.empty()) return {};
    std::string text = pair.names + "\n" + pair.sentence + (pair.sureness.empty() ? "" : ", " + pair.sureness) + "\n";
    for (const auto& row : pair.rows)
        text += row.name + ": " + row.value + "\n";
    if (!pair.now.empty()) text += "summation gain: " + pair.now + "\n";
    return text;
}

std::string versionName(VersionKind kind) {
    switch (kind) {
    case VersionKind::asRecorded:
        return "as recorded";
    case VersionKind::flips:
        return "flips";
    case VersionKind::nudgesTo1ms:
        return "flips, nudges to 1 ms";
    case VersionKind::nudgesTo10ms:
        return "flips, nudges to 10 ms";
    case VersionKind::mine:
        return "mine";
    case VersionKind::keptFirst:
    case VersionKind::keptSecond:
    case VersionKind::keptThird:
        return "kept under " + std::to_string(indexOf(kind) + 1);
    }
    return {};
}

std::string versionProof(const Controller& controller, VersionKind kind) {
    const auto& version = controller.version(kind);
    if (kind == VersionKind::asRecorded) return version ? "nothing changed" : "";
    if (kind == VersionKind::mine) return version ? "set by hand" : "flip or nudge a track";
    if (isKept(kind)) return version ? "kept whole" : "keep";
    if (!version) return controller.measurement() ? keyOf(CommandId::propose) + " proposes" : "";
    const auto again = keyOf(CommandId::propose) + " again";
    if (version->proposedFrom != controller.readMoments()) return "other moments: " + again;
    const auto focus = controller.focused();
    if (version->proposedFor != (focus ? std::optional(controller.sourceName(*focus)) : std::nullopt))
        return "other source: " + again;
    if (version->terms != controller.terms()) return "other terms: " + again;
    if (!version->boundHolds) return "balance changed: " + again;
    const double gap = *version->gapDb;
    if (gap <= provenGapDb) return "proven best";
    return unsignedAmount(gap, gap < 0.95 ? 2 : 1) + " below bound" + (version->cutShort ? ", so far" : "");
}

std::string versionChanges(const Controller& controller, VersionKind kind) {
    const auto& version = controller.version(kind);
    if (!version || kind == VersionKind::asRecorded) return {};
    const auto flips = static_cast<int>(std::count(version->flips.begin(), version->flips.end(), true));
    const auto nudges = static_cast<int>(std::count_if(version->nudges.begin(), version->nudges.end(),
                                                       [](Seconds nudge) { return nudge.value != 0.0; }));
    std::string from;
    if (version->proposedFor) from = "for " + *version->proposedFor + ": ";
    if (version->terms.aim == Aim::mean) from = "for the sources' mean: ";
    if (version->terms.aim == Aim::worst) from = "for the worst source: ";
    if (version->proposedFrom) from = "from " + moments(*version->proposedFrom) + ": ";
    constexpr double worthSaying = 0.5; // dB
    if (version->lowsDb && *version->lowsDb <= -worthSaying)
        from = "lows " + signedAmount(*version->lowsDb, 1) + " dB: " + from;
    if (flips == 0 && nudges == 0) return from + "no change";
    std::string text;
    if (flips > 0) text = counted(flips, "flip");
    if (nudges > 0) {
        double farthest = 0.0;
        for (const auto nudge : version->nudges)
            farthest = std::max(farthest, std::abs(inMilliseconds(nudge)));
        text += (text.empty() ? "" : ", ") + counted(nudges, "nudge") + " to " + unsignedAmount(farthest, 1) + " ms";
    }
    if (nudges == 0) {
        std::string names;
        for (std::size_t track = 0; track < version->flips.size(); ++track)
            if (version->flips[track]) names += (names.empty() ? ": " : ", ") + controller.tracks()[track].name;
        text += names;
    }
    return from + text;
}

std::string versionWorths(const Controller& controller, VersionKind kind) {
    const auto& version = controller.version(kind);
    if (!version) return {};
    std::string text = version->onMine ? "Against what was set by hand when it was proposed: " : "";
    text += version->words.empty() ? "" : version->words + "\n";
    constexpr std::ptrdiff_t mostLines = 14;
    for (const auto& change : version->why) {
        if (&change - version->why.data() == mostLines) {
            text += "and " + std::to_string(std::ssize(version->why) - mostLines) + " more, worth less\n";
            break;
        }
        const auto track = at(change.track);
        std::string line = controller.tracks()[track].name + ": ";
        if (change.kind != Proposal::Change::Kind::nudge) line += "flip";
        if (change.kind == Proposal::Change::Kind::flipAndNudge) line += ", ";
        if (change.kind != Proposal::Change::Kind::flip) line += "nudge " + nudgeText(version->nudges[track]) + " ms";
        text += line + ", worth " + unsignedAmount(change.effectDb, 2) + " dB\n";
    }
    if (!text.empty()) text.pop_back();
    return text;
}

std::string trackTrouble(const TrackInfo& track) {
    switch (track.state) {
    case TrackState::silent:
        return "silent";
    case TrackState::unreadable:
        return "unreadable: " + track.why;
    case TrackState::ok:
        return {};
    }
    return {};
}

std::string track(const Controller& controller, int index) {
    const auto& info = controller.tracks()[at(index)];
    const auto& adjustment = controller.adjustments()[at(index)];
    std::string text = controller.shownName(index);
    if (const auto trouble = trackTrouble(info); !trouble.empty()) return text + ", " + trouble;
    if (const auto level = controller.levelDbfs(index)) text += ", " + gainText(*level) + " dBFS";
    if (const int clipped = controller.clippedSamples(index); clipped > 0)
        text += ", " + counted(clipped, "sample") + " at full scale";
    text += adjustment.flip ? ", flipped" : ", not flipped";
    text += ", nudge " + nudgeText(adjustment.nudge, controller.measures()) + " " + nudgeUnitName(controller.units()) +
            ", gain " + gainText(adjustment.gain.value) + " dB";
    if (adjustment.highPass)
        text += ", high-pass " + unsignedAmount(adjustment.highPass->value, 0) + " Hz, " +
                std::to_string(inDecibelsPerOctave(adjustment.highPassSlope)) + " dB an octave";
    if (adjustment.muted) text += ", muted";
    if (controller.solo()[at(index)]) text += ", solo";
    if (controller.held(index)) text += ", held";
    if (info.linkedTo)
        text += (controller.linked() ? ", moves with " : ", not moving with ") +
                controller.tracks()[at(*info.linkedTo)].name;
    return text;
}

std::string spokenTime(Seconds time) {
    const double seconds = std::max(time.value, 1.0);
    if (seconds < 10.0) return std::to_string(std::lround(seconds)) + " s";
    if (seconds < 90.0) return std::to_string(std::lround(seconds / 5.0) * 5) + " s";
    return std::to_string(std::lround(seconds / 60.0)) + " min";
}

std::string task(const Controller& controller) {
    std::string percent = " " + std::to_string(static_cast<int>(controller.progress() * 100.0)) + " %";
    if (const auto left = controller.timeLeft()) percent += ", " + spokenTime(*left) + " to go";
    switch (controller.task()) {
    case Controller::Task::none:
        return {};
    case Controller::Task::opening:
        return "opening the folder" + percent;
    case Controller::Task::computingDemo:
        return "computing the demo recording" + percent;
    case Controller::Task::measuring:
        return "measuring every pair" + percent;
    case Controller::Task::proposing:
        return "looking for the best setting" + percent;
    case Controller::Task::rendering:
        return "rendering" + percent;
    }
    return {};
}

} // namespace spillwright::desk::words
