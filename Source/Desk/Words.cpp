#include "Desk/Words.h"

#include "Desk/Commands.h"
#include "Session/Amounts.h"
#include "Session/SessionFile.h"
#include "Session/SpillFindings.h"
#include "Session/Words.h"

#include <algorithm>
#include <cmath>

namespace spillwright::desk::words {

namespace {

constexpr const char* dot = " \u00b7 ";

std::size_t at(int index) {
    return static_cast<std::size_t>(index);
}

std::string counted(int count, const std::string& noun) {
    return std::to_string(count) + " " + noun + (count == 1 ? "" : "s");
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
    return controller.shownSourceName(source) + " in " + controller.shownName(track) + ": " +
           spillInWords(*controller.withSources(), *reading, controller.units().distances);
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
    const auto names = result.names;
    result = pairInWords(*reading, controller.recording()->sampleRate(), controller.measurement()->options.temperature,
                         !controller.readMoments(), controller.units().distances);
    result.names = names;
    if (const auto state = controller.pairNow(a, b); state && reading->related) {
        const auto &ofA = controller.adjustments()[at(a)], &ofB = controller.adjustments()[at(b)];
        const double shiftMs = inMilliseconds(ofB.nudge) - inMilliseconds(ofA.nudge);
        const bool turned = ofA.flip != ofB.flip;
        std::string standing; // what flips and nudges have made of it
        if (reading->arrival && (turned || std::abs(shiftMs) >= noDelayMs)) {
            result.sentence = "recorded: " + result.sentence;
            if (reading->polarity)
                standing = std::string(" ") +
                           wayUp(turned == (reading->polarity->polarity == Polarity::inverted) ? Polarity::same
                                                                                               : Polarity::inverted) +
                           ",";
            if (std::abs(shiftMs) >= noDelayMs)
                standing += " " + delayInWords(inMilliseconds(reading->arrival->delay) + shiftMs) + ",";
        }
        result.now =
            state->heard ? "now" + standing + " " + gainText(state->gainDb) + " dB" : "one of the two is not heard";
        result.now += dot + ("as recorded " + gainText(reading->summationGain.value)) + dot + "flipped " +
                      gainText(reading->summationGainFlipped.value);
    }
    return result;
}

std::string versionName(VersionKind kind) {
    return versionNames[indexOf(kind)].shown;
}

std::string versionName(const Controller& controller, VersionKind kind) {
    const auto& version = controller.version(kind);
    return version && !version->called.empty() ? version->called : versionName(kind);
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
    case Controller::Task::reporting:
        return "writing the report" + percent;
    }
    return {};
}

} // namespace spillwright::desk::words
