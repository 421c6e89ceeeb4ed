#include "Report/Page.h"

#include "Media/BroadcastExtension.h"
#include "Session/Amounts.h"
#include "Session/SpillFindings.h"
#include "Session/Words.h"

#include <algorithm>
#include <cmath>
#include <set>

namespace spillwright {

std::string Page::recordedOn() const {
    std::set<std::string> dates;
    for (const auto& file : recording.files())
        if (const auto date = BroadcastExtension::of(file.info.broadcastExtension).date; !date.empty())
            dates.insert(date);
    if (dates.empty()) return "not said by the files";
    return *dates.begin() + (dates.size() == 1 ? "" : " to " + *dates.rbegin()) + ", as the files say";
}

void Page::recordingSection() {
    const auto inside = section("recording", "The recording");
    {
        const auto list = page.in("dl");
        entry("folder", m.folder);
        entry("recorded", recordedOn());
        entry("rate", unsignedAmount(rate, 0) + " Hz");
        entry("length", clockText(static_cast<double>(recording.length()) / rate, true) + " (" +
                            std::to_string(recording.length()) + " samples)");
        entry("measured", clockText(static_cast<double>(m.spectra->from()) / rate, true) + " to " +
                              clockText(static_cast<double>(m.spectra->to()) / rate, true));
        entry("low-mid band", bandText(m.options.band));
        entry("temperature", temperatureText(m.options.temperature) + " (for lengths)");
        entry("tracks",
              std::to_string(m.tracks.size()) + ", of which " + std::to_string(m.usable.size()) + " take part");
    }
    const auto wide = page.in("div", {{"class", "wide sheet"}});
    const auto table = page.in("table");
    page.element("caption", "Level: root mean square of the whole. Spill: the share of a track's energy that is not "
                            "its own source; ?: not sure, as it may stand close to something or not.");
    headRow({{"track"}, {"file"}, {"level dBFS", true}, {"peak dBFS", true}, {"spill", true}, {"pair"}, {"remark"}});
    const auto body = page.in("tbody");
    for (std::size_t i = 0; i < m.tracks.size(); ++i) {
        const auto& track = m.tracks[i];
        const auto row = page.in("tr");
        rowHead(track.name);
        cell(track.file);
        const bool readable = track.state != TrackState::unreadable;
        const auto& statistics = wholeSpectra().statistics(static_cast<int>(i));
        number(readable ? gainText(decibelsOfAmplitude(statistics.rms())) : "\u2013");
        number(readable ? gainText(decibelsOfAmplitude(static_cast<double>(statistics.peak))) : "\u2013");
        const auto spill = m.sources ? spillShareOf(m, static_cast<int>(i)) : std::nullopt;
        number(spill ? percent(*spill) + (spillShareUnsure(m, static_cast<int>(i)) ? "?" : "") : "\u2013");
        cell(track.linkedTo ? "with " + name(*track.linkedTo) : "");
        cell(trackRemark(i));
    }
}

std::string Page::trackRemark(std::size_t i) const {
    const auto& track = m.tracks[i];
    if (track.state == TrackState::unreadable) return trackTrouble(track);
    std::vector<std::string> parts;
    const auto& statistics = wholeSpectra().statistics(static_cast<int>(i));
    if (track.state == TrackState::silent) parts.push_back(trackTrouble(track));
    if (statistics.clippedSamples > 0)
        parts.push_back("clipped: " + std::to_string(statistics.clippedSamples) + " samples at full scale");
    if (std::abs(statistics.offset()) >= notedOffset)
        parts.push_back("a constant offset of " + gainText(decibelsOfAmplitude(std::abs(statistics.offset()))) +
                        " dBFS");
    if (track.resampledFromHz) parts.push_back("resampled from " + unsignedAmount(*track.resampledFromHz, 0) + " Hz");
    std::string text;
    for (const auto& part : parts)
        text += (text.empty() ? "" : "; ") + part;
    return text;
}

/// That it seems to be upside down is told of the sources it hears; what a setting turns over follows from the sum.
std::string Page::whatIsDoneAbout(int track) const {
    const auto& now = taken().adjustments;
    const std::string setting = contents.taken ? "The setting taken, \u201c" + takenName() + "\u201d, " : "It ";
    if (now[static_cast<std::size_t>(track)].flip) return setting + "flips it.";
    auto turned = now;
    turned[static_cast<std::size_t>(track)].flip = true;
    const double change = decibelsOfPower(gainOf(summationModel(m, turned), turned)) - taken().gainDb;
    return setting + (contents.taken ? "leaves it as it is" : "was left as it is") + ": with it turned over" +
           (contents.taken ? ", too" : "") + ", the sum of the low-mids would stand " +
           (std::abs(change) < 0.005 ? std::string("where it stands")
                                     : unsignedAmount(change, 2) + " dB " + (change > 0.0 ? "higher" : "lower")) +
           ".";
}

void Page::remarksSection() {
    const auto inside = section("remarks", "What is wrong with the files");
    std::vector<std::string> lines;
    for (std::size_t i = 0; i < m.tracks.size(); ++i)
        if (const auto remark = trackRemark(i); !remark.empty()) lines.push_back(m.tracks[i].name + ": " + remark);
    const std::set<std::string> told(lines.begin(), lines.end());
    const auto turned = upsideDown(m);
    const auto wiring = wiringInWords(m);
    for (const auto& line : m.warnings) {
        if (told.contains(line)) continue;
        const auto found = std::find(wiring.begin(), wiring.end(), line);
        const auto place = static_cast<std::size_t>(found - wiring.begin());
        lines.push_back(line + (found == wiring.end() ? "" : ". " + whatIsDoneAbout(turned[place].track)));
    }
    if (lines.empty())
        return paragraph("Nothing: every file could be read, none is silent, clipped or offset, and "
                         "nothing moved while it was recorded.");
    const auto list = page.in("ul");
    for (const auto& line : lines)
        item(oneLine(line));
}

} // namespace spillwright
