#include "Media/Sums.h"

#include "Media/SumOfTracks.h"
#include "Media/WriteAudio.h"
#include "Session/Files.h"
#include "Session/Words.h"

#include <ebur128.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <functional>
#include <memory>
#include <new>

namespace spillwright {

namespace fs = std::filesystem;

namespace {

constexpr int blockFrames = 65536;

std::string decimals(double value, int digits) {
    std::array<char, 64> text{};
    std::snprintf(text.data(), text.size(), "%.*f", digits, value);
    return text.data();
}

class Meter {
public:
    explicit Meter(double sampleRate)
        : state(ebur128_init(2, static_cast<unsigned long>(std::lround(sampleRate)),
                             EBUR128_MODE_I | EBUR128_MODE_TRUE_PEAK)) {
        if (!state) throw std::bad_alloc();
    }

    void add(const float* left, const float* right, int count) {
        frames.resize(2 * static_cast<std::size_t>(count));
        for (std::size_t n = 0; n < static_cast<std::size_t>(count); ++n) {
            frames[2 * n] = left[n];
            frames[2 * n + 1] = right[n];
        }
        if (ebur128_add_frames_float(state.get(), frames.data(), static_cast<std::size_t>(count)) != EBUR128_SUCCESS)
            throw std::bad_alloc();
    }

    std::optional<double> loudness() const {
        double lufs = 0.0;
        if (ebur128_loudness_global(state.get(), &lufs) != EBUR128_SUCCESS || !std::isfinite(lufs)) return std::nullopt;
        return lufs;
    }

    double truePeakDb() const {
        double peak = 0.0;
        for (unsigned channel = 0; channel < 2; ++channel) {
            double of = 0.0;
            if (ebur128_true_peak(state.get(), channel, &of) == EBUR128_SUCCESS) peak = std::max(peak, of);
        }
        return decibelsOfAmplitude(peak);
    }

private:
    struct Destroy {
        void operator()(ebur128_state* of) const { ebur128_destroy(&of); }
    };
    std::unique_ptr<ebur128_state, Destroy> state;
    std::vector<float> frames;
};

/// A name that every file system takes: no separators, none of what is reserved, at most 100 bytes of whole characters.
std::string fileNameOf(const std::string& name) {
    constexpr std::size_t longest = 100;
    std::string plain;
    for (const char c : shownText(name))
        plain += std::string_view("/\\:*?\"<>|").find(c) == std::string_view::npos ? c : '-';
    if (plain.size() > longest) {
        plain.resize(longest);
        while (!plain.empty() && (plain.back() & 0xC0) == 0x80)
            plain.pop_back();
        if (!plain.empty() && (plain.back() & 0x80) != 0) plain.pop_back(); // its first byte
    }
    while (!plain.empty() && (plain.back() == ' ' || plain.back() == '.'))
        plain.pop_back();
    return plain.empty() ? "sum" : plain;
}

fs::path pathOf(const std::string& utf8) {
    return std::u8string(utf8.begin(), utf8.end());
}

class Sums {
public:
    Sums(const Recording& whole, std::span<const SumVersion> of, const SumsOptions& wanted, const Watch& watched)
        : recording(whole), versions(of), options(wanted), watch(watched) {}

    Result<SumsReport> prepare(Batch& together) {
        if (sameFolder(options.to, recording.folder()))
            return Fault{shownPath(options.to), "is the recording itself, which is never written to",
                         "choose another folder"};
        report.notes = options.to / "sums.txt";
        for (std::size_t i = 0; i < versions.size(); ++i)
            report.sums.push_back(
                {versions[i].name,
                 options.to / pathOf(std::to_string(i + 1) + " " + fileNameOf(versions[i].name) + ".wav"),
                 0.0,
                 {},
                 0.0});
        for (const auto& sum : report.sums)
            if (auto free = batch.checkTarget(sum.file, options.replace); !free) return free.fault();
        if (auto free = batch.checkTarget(report.notes, options.replace); !free) return free.fault();
        if (auto made = batch.makeFolder(options.to); !made) return made.fault();
        if (auto measured = measureAll(); !measured) return measured.fault();
        setGains();
        for (std::size_t i = 0; i < versions.size(); ++i)
            if (auto written = writeSum(i); !written) return written.fault();
        if (auto noted = writeNotes(); !noted) return noted.fault();
        if (watch.stopped()) return stopped();
        together.takeOver(batch);
        return report;
    }

private:
    Fault stopped() const { return {shownPath(options.to), "was not written: stopped", "", Fault::Kind::cancelled}; }

    /// Each block of a sum, turned by so much.
    Outcome through(const SumVersion& version, double gainDb,
                    const std::function<Outcome(const float* left, const float* right, int count)>& take) {
        auto sum = SumOfTracks::open(recording, version.adjustments);
        if (!sum) return sum.fault();
        const auto factor = static_cast<float>(amplitudeOfDecibels(gainDb));
        std::vector<float> left(blockFrames), right(blockFrames);
        for (std::int64_t start = 0; start < recording.length(); start += blockFrames) {
            if (watch.stopped()) return stopped();
            const auto count = static_cast<int>(std::min<std::int64_t>(blockFrames, recording.length() - start));
            if (auto made = (*sum)->next(count, left.data(), right.data()); !made) return made;
            for (auto* side : {&left, &right})
                for (float& sample : *side)
                    sample *= factor;
            if (auto taken = take(left.data(), right.data(), count); !taken) return taken;
            samplesDone += static_cast<double>(count);
            watch.tell(samplesDone / (2.0 * static_cast<double>(versions.size()) *
                                      std::max(1.0, static_cast<double>(recording.length()))));
        }
        return done();
    }

    Outcome measureAll() {
        for (std::size_t i = 0; i < versions.size(); ++i) {
            Meter meter(recording.sampleRate());
            auto read = through(versions[i], 0.0, [&](const float* left, const float* right, int count) {
                meter.add(left, right, count);
                return done();
            });
            if (!read) return read;
            report.sums[i].loudness = meter.loudness();
            report.sums[i].truePeakDb = meter.truePeakDb();
        }
        return done();
    }

    void setGains() {
        std::optional<double> target = options.targetLufs;
        if (!target)
            for (const auto& sum : report.sums)
                if (sum.loudness) target = std::min(target.value_or(*sum.loudness), *sum.loudness);
        if (!target) return; // all are silent
        double highest = *target;
        for (const auto& sum : report.sums)
            if (sum.loudness) highest = std::min(highest, *sum.loudness + highestTruePeakDb - sum.truePeakDb);
        if (options.targetLufs && highest < *target)
            report.remarks.push_back("at " + decimals(*target, 1) + " LUFS a true peak would pass " +
                                     decimals(highestTruePeakDb, 0) + " dBTP; all are at " + decimals(highest, 1) +
                                     " LUFS");
        for (auto& sum : report.sums) {
            if (sum.loudness)
                sum.gainDb = highest - *sum.loudness;
            else
                report.remarks.push_back(sum.name + ": is silent; it is written as it is");
        }
    }

    Outcome writeSum(std::size_t index) {
        auto& sum = report.sums[index];
        AudioFileFormat format;
        format.sampleRate = recording.sampleRate();
        format.channels = 2;
        auto created = AudioFileWriter::create(sum.file, format);
        if (!created) return created.fault();
        std::shared_ptr<AudioFileWriter> writer(std::move(*created));
        Meter meter(recording.sampleRate());
        auto written =
            through(versions[index], sum.gainDb, [&](const float* left, const float* right, int count) -> Outcome {
                meter.add(left, right, count);
                const std::array sides{left, right};
                return writer->write(sides, count);
            });
        if (!written) return written;
        if (auto finished = writer->finish(); !finished) return finished;
        sum.loudness = meter.loudness();
        sum.truePeakDb = meter.truePeakDb();
        batch.add(sum.file, writer->place(), [writer] { return writer->keep(); });
        return done();
    }

    Outcome writeNotes() {
        std::vector<std::string> lines{
            "Stereo sums of " + shownPath(recording.folder()) + ", made by Spillwright to be compared by ear.",
            "Integrated loudness (ITU-R BS.1770) and true peak are those of the files as they are."};
        for (const auto& sum : report.sums) {
            const auto& version = versions[static_cast<std::size_t>(&sum - report.sums.data())];
            lines.emplace_back();
            lines.push_back(shownPath(sum.file.filename()) + ": " +
                            (sum.loudness ? decimals(*sum.loudness, 2) + " LUFS" : "silent") + ", " +
                            (std::isfinite(sum.truePeakDb) ? decimals(sum.truePeakDb, 2) + " dBTP, " : "") +
                            "turned by " + decimals(sum.gainDb, 2) + " dB");
            for (const auto& line : adjustmentsInWords(recording.tracks(), version.adjustments))
                lines.push_back("  " + line);
        }
        if (!report.remarks.empty()) lines.emplace_back();
        for (const auto& remark : report.remarks)
            lines.push_back(remark);
        return batch.addNotes(report.notes, lines, watch);
    }

    const Recording& recording;
    std::span<const SumVersion> versions;
    const SumsOptions& options;
    const Watch& watch;
    SumsReport report;
    Batch batch;
    double samplesDone = 0.0;
};

} // namespace

Result<SumsReport> renderSums(const Recording& recording, std::span<const SumVersion> versions,
                              const SumsOptions& options, const Watch& watch) {
    return keptTogether([&](Batch& batch) { return prepareSums(recording, versions, options, batch, watch); });
}

Result<SumsReport> prepareSums(const Recording& recording, std::span<const SumVersion> versions,
                               const SumsOptions& options, Batch& together, const Watch& watch) {
    return Sums(recording, versions, options, watch).prepare(together);
}

} // namespace spillwright
