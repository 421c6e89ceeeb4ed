#include "Cli/CommandLine.h"

#include "Demo/DemoRecording.h"
#include "Demo/LessonRecording.h"
#include "Manual/ManualPages.h"
#include "Media/Recording.h"
#include "Media/Render.h"
#include "Media/SpectraCache.h"
#include "Media/Sums.h"
#include "Media/TrackLoop.h"
#include "Report/Report.h"
#include "Report/Tables.h"
#include "Session/Document.h"
#include "Session/Files.h"
#include "Session/SessionFile.h"
#include "Session/Sources.h"
#include "Session/Takes.h"
#include "Session/TextFile.h"
#include "Session/Words.h"

#include <CLI/CLI.hpp>
#include <nlohmann/json.hpp>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <ostream>

namespace spillwright {

namespace {

constexpr int statusDone = 0;
constexpr int statusInput = 1;
constexpr int statusUsage = 2;

struct CommonOptions {
    std::string folder;
    std::optional<double> from, to;
    std::string band, source, sources;
    double largestArrivalMs = 50.0;
    double temperature = 20.0;
    int threads = 0;
    bool noCache = false;
    std::string json;
};

struct ProposeWords {
    std::string allow, reference, setting, save;
    double largestNudgeMs = 10.0;
    std::optional<double> timeSeconds;
    double leastWorthDb = ProposeOptions().leastWorthDb;
    std::vector<std::string> hold, groups, ownLargest;
    bool unlink = false, stereo = false, evenBalance = false;
    std::string aim;
    std::vector<std::string> aimSources;
    int count = 1;
};

struct RenderWords {
    std::string folder, setting, to, sum, notes, bits = "24";
    bool replace = false;
};

struct SumsWords {
    std::string folder, session, to;
    std::vector<std::string> settings;
    std::optional<double> targetLufs;
    bool replace = false;
};

struct ReportWords {
    std::string setting, session, to, recall, date;
    std::optional<double> timeSeconds;
    bool replace = false;
};

struct CompareWords {
    std::vector<std::string> folders, microphones, match;
    bool all = false;
};

struct LessonWords {
    std::string name, to, sound, recording, track;
    double from = 0.0;
    int threads = 0;
};

/// One command as it runs: where its words go and how it is stopped.
class Run {
public:
    Run(std::ostream& output, std::ostream& errors, std::filesystem::path cache, bool showProgress,
        std::stop_token stopToken)
        : out(output), err(errors), cacheFolder(std::move(cache)), progressOnTerminal(showProgress),
          stop(std::move(stopToken)) {}

    int measureCommand(const CommonOptions& words, const std::string& saveSources) {
        const auto options = measureOptions(words);
        if (!options) return fail(options.fault());
        const auto measured = openAndMeasure(words, *options, true);
        if (!measured) return fail(measured.fault());
        warn(measured->measurement.warnings);
        if (!saveSources.empty()) {
            if (auto own = notOfRecording(saveSources, *measured->recording); !own) return fail(own.fault());
            if (auto saved = writeTextFile(saveSources, documentText(sourcesToJson(listOf(measured->measurement))));
                !saved)
                return fail(saved.fault());
        }
        return give(words.json, measurementTable(measured->measurement), measurementToJson(measured->measurement),
                    *measured->recording);
    }

    int proposeCommand(const CommonOptions& words, const ProposeWords& proposeWords) {
        const auto options = measureOptions(words);
        if (!options) return fail(options.fault());
        if (!(proposeWords.largestNudgeMs >= 0.0 && proposeWords.largestNudgeMs <= 1000.0))
            return fail(usage("--largest-nudge", "is outside 0 to 1000", "give milliseconds"));
        ProposeOptions proposeOptions;
        if (!proposeWords.allow.empty())
            proposeOptions.rungs = {proposeWords.allow == "flips" ? Allow::flips : Allow::nudges};
        proposeOptions.largestNudge = milliseconds(proposeWords.largestNudgeMs);
        if (auto time = timeOf(proposeWords.timeSeconds); !time)
            return fail(time.fault());
        else
            proposeOptions.time = *time;
        if (std::isnan(proposeWords.leastWorthDb))
            return fail(usage("--least-worth", "is not a number", "give decibels, 0 to keep every change"));
        if (proposeWords.leastWorthDb < 0.0)
            return fail(usage("--least-worth", "is below 0", "give decibels, 0 to keep every change"));
        proposeOptions.leastWorthDb = proposeWords.leastWorthDb;
        if (!proposeWords.reference.empty()) proposeOptions.reference = proposeWords.reference;
        proposeOptions.hold = proposeWords.hold;
        for (const auto& group : proposeWords.groups) {
            auto names = CLI::detail::split(group + ",", ','); // a last empty name counts too
            if (std::any_of(names.begin(), names.end(), [](const std::string& name) { return name.empty(); }))
                return fail(usage("--group", "a group names no track", "write TRACK,TRACK"));
            proposeOptions.groups.push_back(std::move(names));
        }
        for (const auto& word : proposeWords.ownLargest) {
            const auto equals = word.rfind('=');
            double ms = -1.0;
            if (equals == std::string::npos || !CLI::detail::lexical_cast(word.substr(equals + 1), ms) ||
                !(ms >= 0.0 && ms <= 1000.0))
                return fail(usage("--own-largest-nudge", "'" + word + "' is no TRACK=MS, 0 to 1000 ms",
                                  "write it like 'room L=1.5'"));
            proposeOptions.ownLargest.emplace_back(word.substr(0, equals), milliseconds(ms));
        }
        if (auto aim = aimOf(proposeWords); !aim)
            return fail(aim.fault());
        else
            proposeOptions.aim = std::move(aim).value();
        proposeOptions.stereo = proposeWords.stereo;
        proposeOptions.evenBalance = proposeWords.evenBalance;
        proposeOptions.unlink = proposeWords.unlink;
        proposeOptions.count = proposeWords.count;
        if (!proposeWords.setting.empty()) {
            auto setting = readSettingFile(proposeWords.setting);
            if (!setting) return fail(setting.fault());
            proposeOptions.setting = std::move(setting).value();
        }
        const bool sourcesMatter = !words.source.empty() || !words.sources.empty() || proposeOptions.aim.at != Aim::sum;
        const auto measured = openAndMeasure(words, *options, sourcesMatter);
        if (!measured) return fail(measured.fault());
        warn(measured->measurement.warnings);
        Workers workers(words.threads);
        const auto proposals = makeProposals(measured->measurement, proposeOptions, workers, watch("proposing"));
        if (!proposals) return fail(proposals.fault());
        if (!proposeWords.save.empty()) {
            const auto& best = proposals->proposals.front(); // rank 1 of the one rung, or of the flips
            if (auto own = notOfRecording(proposeWords.save, *measured->recording); !own) return fail(own.fault());
            if (auto saved = writeTextFile(proposeWords.save, documentText(settingToJson(best.setting))); !saved)
                return fail(saved.fault());
        }
        return give(words.json, proposalsTable(*proposals, measured->measurement), proposalsToJson(*proposals),
                    *measured->recording);
    }

    /// One without a name is called after its file.
    static Result<Setting> readNamedSetting(const std::string& file) {
        auto setting = readSettingFile(file);
        if (setting && setting->name.empty()) setting->name = shownPath(std::filesystem::path(file).stem());
        return setting;
    }

    static Result<std::optional<Seconds>> timeOf(const std::optional<double>& seconds) {
        if (!seconds) return std::optional<Seconds>();
        if (std::isnan(*seconds)) return usage("--time", "is not a number", "give seconds, or leave it out");
        if (*seconds < 0.0) return usage("--time", "is below 0", "give seconds, or leave it out");
        return std::optional(Seconds(*seconds));
    }

    int compareCommand(const CommonOptions& words, const CompareWords& compareWords) {
        const auto options = measureOptions(words);
        if (!options) return fail(options.fault());
        const auto& folders = compareWords.folders;
        const bool microphones = !compareWords.microphones.empty();
        if (microphones && folders.size() > 1)
            return fail(usage("--microphone",
                              "is asked of one recording, and " + std::to_string(folders.size()) + " are named",
                              "name one folder"));
        if (microphones && !compareWords.match.empty())
            return fail(usage("--match", "is between takes, and microphones of one recording are compared",
                              "leave one of the two out"));
        if (!microphones && folders.size() < 2)
            return fail(usage(folders.front(), "is one take alone",
                              "name another take's folder, or two microphones of this one with --microphone"));
        for (std::size_t k = 0; k < folders.size(); ++k)
            for (std::size_t l = 0; l < k; ++l) {
                std::error_code ignored;
                if (std::filesystem::equivalent(folders[l], folders[k], ignored))
                    return fail({folders[k], "is named twice", "name two different takes"});
            }
        CompareOptions compareOptions;
        if (!words.source.empty()) compareOptions.source = words.source;
        if (!words.sources.empty()) {
            auto given = readSourcesFile(words.sources);
            if (!given) return fail(given.fault());
            compareOptions.sources = std::move(given).value();
        }
        std::vector<Measured> measured;
        Workers workers(words.threads);
        for (const auto& folder : folders) {
            auto take = measureFolder(folder, words, *options, workers);
            if (!take) return fail(take.fault());
            auto lines = take->measurement.warnings;
            for (auto& line : lines)
                if (!microphones && !line.starts_with(folder)) line = folder + ": " + line;
            warn(lines);
            measured.push_back(std::move(take).value());
        }
        for (const auto& word : compareWords.match) {
            auto pair = matchOf(word, measured.front().measurement.tracks);
            if (!pair) return fail(pair.fault());
            compareOptions.match.push_back(std::move(pair).value());
        }
        std::vector<Measurement> takes;
        for (const auto& take : measured)
            takes.push_back(take.measurement);
        const auto comparison = microphones
                                    ? compareMicrophones(takes.front(), compareWords.microphones, compareOptions,
                                                         workers, watch("comparing"))
                                    : compareTakes(std::move(takes), compareOptions, workers, watch("comparing"));
        if (!comparison) return fail(comparison.fault());
        warn(comparison->warnings);
        if (!words.json.empty() && words.json != "-")
            for (const auto& take : measured)
                if (auto own = notOfRecording(words.json, *take.recording); !own) return fail(own.fault());
        return give(words.json, comparisonTable(*comparison, compareWords.all), comparisonToJson(*comparison),
                    *measured.front().recording);
    }

    /// A=B; a name may hold an equals sign: what stands before the right one is a track of the first take.
    static Result<std::pair<std::string, std::string>> matchOf(const std::string& word,
                                                               const std::vector<TrackInfo>& tracks) {
        auto equals = word.find('=');
        if (equals == std::string::npos || equals == 0 || equals + 1 == word.size())
            return usage("--match", "'" + word + "' is no TRACK=TRACK", "write it like 'snare=snare top'");
        for (auto at = equals; at != std::string::npos; at = word.find('=', at + 1))
            if (findTrack(word.substr(0, at), tracks)) equals = at;
        return std::pair(word.substr(0, equals), word.substr(equals + 1));
    }

    /// NAME or NAME=WEIGHT; a name may hold an equals sign where no number follows it.
    static Result<SourceAim> aimOf(const ProposeWords& words) {
        SourceAim aim;
        aim.at = words.aim == "mean" ? Aim::mean : words.aim == "worst" ? Aim::worst : Aim::sum;
        if (aim.at == Aim::sum && !words.aimSources.empty())
            return usage("--aim-source", "says of which sources, but not whether their mean or the worst counts",
                         "add --aim mean or --aim worst");
        for (const auto& word : words.aimSources) {
            const auto equals = word.rfind('=');
            double weight = 1.0;
            const bool weighted =
                equals != std::string::npos && CLI::detail::lexical_cast(word.substr(equals + 1), weight);
            if (weighted && aim.at == Aim::worst)
                return usage("--aim-source", "'" + word + "' has a weight, but where the worst counts all count alike",
                             "leave the weight out");
            aim.sources.emplace_back(weighted ? word.substr(0, equals) : word, weighted ? weight : 1.0);
        }
        return aim;
    }

    int reportCommand(const CommonOptions& words, const ReportWords& reportWords) {
        const auto options = measureOptions(words);
        if (!options) return fail(options.fault());
        const auto time = timeOf(reportWords.timeSeconds);
        if (!time) return fail(time.fault());
        ReportFiles files{reportWords.to, {}, reportWords.replace};
        if (!reportWords.recall.empty()) files.recall = reportWords.recall;
        if (const auto may = mayBeSaved(files, words.folder); !may) return fail(may.fault());
        std::optional<Setting> setting;
        if (!reportWords.setting.empty()) {
            auto read = readNamedSetting(reportWords.setting);
            if (!read) return fail(read.fault());
            setting = std::move(read).value();
        }
        std::optional<Session> session;
        if (!reportWords.session.empty()) {
            auto read = readSessionFile(reportWords.session);
            if (!read) return fail(read.fault());
            session = std::move(read).value();
        }
        const auto measured = openAndMeasure(words, *options, true);
        if (!measured) return fail(measured.fault());
        const auto& m = measured->measurement;
        warn(m.warnings);

        ReportContents contents{*measured->recording, m, {}, {}, reportWords.date};
        if (session) {
            auto found = versionsOf(*session, m.tracks);
            contents.versions = std::move(found.versions);
            contents.taken = found.taken;
        }
        if (setting) {
            if (const auto known = adjustmentsFor(*setting, m.tracks); !known) return fail(known.fault());
            contents.taken = contents.versions.size();
            contents.versions.push_back({setting->name, *setting, "", "", {}});
        }
        Workers workers(words.threads);
        if (m.usable.size() >= 2) {
            ProposeOptions proposeOptions; // under the balance of what was taken, from as recorded
            proposeOptions.time = *time;
            if (contents.taken) {
                proposeOptions.setting = contents.versions[*contents.taken].setting;
                for (auto& track : proposeOptions.setting->tracks) {
                    track.adjustment.flip = false;
                    track.adjustment.nudge = Seconds(0.0);
                }
            }
            const auto proposals = makeProposals(m, proposeOptions, workers, watch("proposing"));
            if (!proposals) return fail(proposals.fault());
            if (!setting && !session) contents.taken = contents.versions.size(); // as propose --save has it
            for (const auto& proposal : proposals->proposals) {
                auto version = versionOf(*proposals, proposal, m);
                if (setting && explain(contents.versions[*contents.taken], version, m.tracks)) continue;
                if (session) version.name += ", proposed anew";
                contents.versions.push_back(std::move(version));
            }
        }
        if (auto saved = saveReport(contents, files, workers, watch("writing")); !saved) return fail(saved.fault());
        clearProgress();
        out << reportWords.to << "\n" << (files.recall ? reportWords.recall + "\n" : "");
        return statusDone;
    }

    int renderCommand(const RenderWords& words) {
        const auto setting = readSettingFile(words.setting);
        if (!setting) return fail(setting.fault());
        const auto recording = Recording::open(words.folder, watch("opening"));
        if (!recording) return fail(recording.fault());
        warn((*recording)->warnings());
        const auto adjustments = adjustmentsFor(*setting, (*recording)->tracks());
        if (!adjustments) return fail(adjustments.fault());
        RenderOptions options;
        options.to = words.to;
        if (!words.sum.empty()) options.sum = words.sum;
        if (!words.notes.empty()) options.notes = words.notes;
        options.settingName = setting->name;
        options.format = words.bits == "16"   ? SampleFormat::int16
                         : words.bits == "24" ? SampleFormat::int24
                                              : SampleFormat::float32;
        options.replace = words.replace;
        const auto rendered = render(**recording, *adjustments, options, watch("rendering"));
        if (!rendered) return fail(rendered.fault());
        warn(rendered->remarks);
        for (const auto& file : rendered->written)
            out << file.string() << "\n";
        if (options.notes) out << options.notes->string() << "\n";
        return statusDone;
    }

    int sumsCommand(const SumsWords& words) {
        if (words.settings.empty() && words.session.empty())
            return fail(usage("sums", "says of no setting whose sum is wanted", "add --setting or --session"));
        if (words.targetLufs && !(*words.targetLufs >= -70.0 && *words.targetLufs <= 0.0))
            return fail(usage("--loudness", "is outside -70 to 0", "give LUFS, or leave it out"));
        std::vector<Setting> settings;
        for (const auto& file : words.settings) {
            auto setting = readNamedSetting(file);
            if (!setting) return fail(setting.fault());
            settings.push_back(std::move(setting).value());
        }
        std::optional<Session> session;
        if (!words.session.empty()) {
            auto read = readSessionFile(words.session);
            if (!read) return fail(read.fault());
            session = std::move(read).value();
        }
        const auto recording = Recording::open(words.folder, watch("opening"));
        if (!recording) return fail(recording.fault());
        warn((*recording)->warnings());
        const auto& tracks = (*recording)->tracks();
        if (session)
            for (auto& version : versionsOf(*session, tracks).versions) {
                version.setting.name = version.name;
                settings.push_back(std::move(version.setting));
            }
        std::vector<SumVersion> versions{{"as recorded", std::vector<TrackAdjustment>(tracks.size())}};
        for (const auto& setting : settings) {
            auto adjustments = adjustmentsFor(setting, tracks);
            if (!adjustments) return fail(adjustments.fault());
            versions.push_back({setting.name, std::move(adjustments).value()});
        }
        const auto rendered =
            renderSums(**recording, versions, {words.to, words.targetLufs, words.replace}, watch("rendering"));
        if (!rendered) return fail(rendered.fault());
        warn(rendered->remarks);
        for (const auto& sum : rendered->sums)
            out << sum.file.string() << "\n";
        out << rendered->notes.string() << "\n";
        return statusDone;
    }

    int demoCommand(const std::string& name, const std::string& to, int threads) {
        const auto sessions = demoSessions();
        if (name.empty()) {
            for (const auto& session : sessions)
                out << session.name << "  " << session.title << "\n";
            return statusDone;
        }
        if (to.empty()) return fail(usage("demo", "--to is missing", "name the folder to write into"));
        for (const auto& session : sessions) {
            if (session.name != name) continue;
            Workers workers(threads);
            if (auto computed = computeDemo(session.sceneFile, to, workers, watch("computing")); !computed)
                return fail(computed.fault());
            return statusDone;
        }
        return fail({name, "no demo session bears this name", "spillwright-cli demo lists them"});
    }

    int lessonCommand(const LessonWords& words) {
        const auto known = lessons();
        if (words.name.empty()) {
            if (!words.to.empty()) return fail(usage("lesson", "NAME is missing", "spillwright-cli lesson lists them"));
            for (std::size_t place = 0; place < known.size(); ++place)
                out << known[place].name << "  (" << place + 1 << ")\n    " << known[place].title << "\n";
            return statusDone;
        }
        const auto entry = findLesson(known, words.name);
        std::error_code ignored;
        if (entry == known.end() && !std::filesystem::exists(words.name, ignored)) {
            std::vector<std::string> names;
            for (const auto& one : known)
                names.push_back(one.name);
            return fail(
                {words.name, "no lesson has this number, name or title, and no file", nearNames(words.name, names)});
        }
        auto lesson = readLessonFile(entry == known.end() ? std::filesystem::path(words.name) : entry->file);
        if (!lesson) return fail(lesson.fault());
        for (std::size_t sound = 0; sound < practiceSoundNames.size(); ++sound)
            if (words.sound == practiceSoundNames[sound]) lesson->sound = static_cast<PracticeSound>(sound);
        if (words.recording.empty() != words.track.empty())
            return fail(usage("--recording, --track", "only one of them is given", "give both, or none"));
        if (words.to.empty()) {
            out << lessonPage(*lesson);
            return statusDone;
        }
        std::optional<std::vector<float>> own;
        if (!words.recording.empty()) {
            auto loop = loopOf(words);
            if (!loop) return fail(loop.fault());
            own = std::move(loop).value();
        }
        Workers workers(words.threads);
        if (auto written = writeLesson(*lesson, own, words.to, workers, watch("computing")); !written)
            return fail(written.fault());
        clearProgress();
        out << words.to << ": page.txt, lesson.json and the sound of " << lesson->steps.size()
            << (lesson->steps.size() == 1 ? " step" : " steps")
            << ", each as the sum in stereo and as every microphone hears it\n";
        return statusDone;
    }

    int manualCommand(const std::string& to) {
        const auto chapters = manual();
        if (!chapters) return fail(chapters.fault());
        if (auto written = writeManual(*chapters, to); !written) return fail(written.fault());
        return statusDone;
    }

    /// The status, once what was said has come through.
    int said(int status) {
        out.flush();
        if (status == statusDone && !out)
            return fail({"standard output", "cannot be written", "make room or choose another place"});
        return status;
    }

    int fail(const Fault& fault) {
        clearProgress();
        err << "spillwright-cli: " << fault.line() << "\n";
        return fault.kind == Fault::Kind::usage ? statusUsage : statusInput;
    }

    static Fault usage(std::string where, std::string what, std::string mend) {
        return {std::move(where), std::move(what), std::move(mend), Fault::Kind::usage};
    }

private:
    std::ostream& out;
    std::ostream& err;
    std::filesystem::path cacheFolder;
    bool progressOnTerminal;
    std::stop_token stop;

    struct Measured {
        std::shared_ptr<const Recording> recording;
        Measurement measurement;
    };

    Result<std::vector<float>> loopOf(const LessonWords& words) {
        if (!(words.from >= 0.0 && words.from < 1e6))
            return usage("--from", "is no time in the recording", "give seconds from the beginning");
        auto recording = Recording::open(words.recording, watch("opening"));
        if (!recording) return recording.fault();
        const auto track = findTrack(words.track, (*recording)->tracks());
        if (!track) return track.fault();
        const double seconds = static_cast<double>((*recording)->length()) / (*recording)->sampleRate();
        if (words.from >= seconds) {
            char lasts[32];
            std::snprintf(lasts, sizeof lasts, "%.2f s", seconds);
            return Fault{"--from", "lies past the end of the recording", std::string("it lasts ") + lasts};
        }
        auto loop = trackLoop(**recording, *track, std::llround(words.from * (*recording)->sampleRate()),
                              (*recording)->length(), lessonSampleRate);
        if (loop) levelPracticeSound(*loop);
        return loop;
    }

    static Result<Band> parseBand(const std::string& words) {
        const auto colon = words.find(':');
        const auto number = [](const std::string& digits) {
            std::size_t used = 0;
            double value = std::nan("");
            try {
                value = std::stod(digits, &used);
            } catch (const std::exception&) {
            }
            const bool decimal = digits.find_first_of("xX") == std::string::npos;
            return used == digits.size() && decimal ? value : std::nan("");
        };
        if (colon == std::string::npos) return usage("--band", "'" + words + "' is no band", "give it as LO:HI in Hz");
        const double low = number(words.substr(0, colon));
        const double high = number(words.substr(colon + 1));
        if (!std::isfinite(low) || !std::isfinite(high))
            return usage("--band", "'" + words + "' holds what is no number", "give it as LO:HI in Hz");
        if (!(low > 0.0 && low < high))
            return usage("--band", "'" + words + "' is the wrong way round", "give it as LO:HI, both above 0");
        return Band{Hertz(low), Hertz(high)};
    }

    static Result<MeasureOptions> measureOptions(const CommonOptions& words) {
        MeasureOptions options;
        if (!words.band.empty()) {
            const auto band = parseBand(words.band);
            if (!band) return band.fault();
            options.band = *band;
        }
        if ((words.from && !std::isfinite(*words.from)) || (words.to && !std::isfinite(*words.to)))
            return usage("--from, --to-time", "hold what is no number", "give seconds from the beginning");
        if (words.from && *words.from < 0.0) return usage("--from", "is below 0", "give seconds from the beginning");
        if (words.to && !(*words.to > words.from.value_or(0.0)))
            return usage("--to-time", "does not lie after --from", "give seconds from the beginning");
        if (words.from) options.from = Seconds(*words.from);
        if (words.to) options.to = Seconds(*words.to);
        if (!(words.largestArrivalMs > 0.0 && words.largestArrivalMs <= 150.0))
            return usage("--largest-arrival", "is not above 0 or is above 150", "give milliseconds");
        if (!(words.temperature >= -60.0 && words.temperature <= 60.0))
            return usage("--temperature", "is outside -60 to 60", "give degrees Celsius");
        options.largestArrival = milliseconds(words.largestArrivalMs);
        options.temperature = Celsius(words.temperature);
        return options;
    }

    /// With the focus source's readings where one is asked for.
    Result<Measured> openAndMeasure(const CommonOptions& words, const MeasureOptions& options, bool sourcesMatter) {
        std::optional<SourceList> list;
        if (!words.sources.empty()) {
            auto given = readSourcesFile(words.sources);
            if (!given) return given.fault();
            list = std::move(given).value();
        }
        Workers workers(words.threads);
        auto measured = measureFolder(words.folder, words, options, workers);
        if (!measured) return measured.fault();
        Result<Measurement> measurement = std::move(measured->measurement);
        if (sourcesMatter) {
            measurement = hearSources(*measurement, list, workers, watch("hearing the sources"));
            if (!measurement) return measurement.fault();
        }
        if (!words.source.empty()) {
            const auto source = findSource(words.source, *measurement);
            if (!source) return source.fault();
            auto focused = focusOn(*measurement, *source, workers, watch("reading the source"));
            if (!focused) return focused.fault();
            auto& remarks = focused->warnings;
            remarks.insert(remarks.begin(), measurement->warnings.begin(), measurement->warnings.end());
            measurement = std::move(focused);
        }
        return Measured{std::move(measured->recording), std::move(measurement).value()};
    }

    /// Its spectra from the cache where they are kept, else into it.
    Result<Measured> measureFolder(const std::string& folder, const CommonOptions& words, const MeasureOptions& options,
                                   Workers& workers) {
        auto recording = Recording::open(folder, watch("opening"));
        if (!recording) return recording.fault();
        const auto stretch = stretchOf(folder, **recording, options);
        if (!stretch) return stretch.fault();
        const SpectraCache cache(words.noCache ? std::filesystem::path() : cacheFolder);
        const auto known = cache.find(**recording, stretch->from, stretch->to);
        auto measurement = measure(folder, (*recording)->tracks(), **recording, (*recording)->warnings(), options,
                                   workers, watch("measuring"), known);
        if (!measurement) return measurement.fault();
        if (!known) cache.keep(**recording, *measurement->spectra);
        return Measured{std::move(recording).value(), std::move(measurement).value()};
    }

    int give(const std::string& jsonFile, const std::string& table, const nlohmann::ordered_json& json,
             const Recording& recording) {
        clearProgress();
        if (jsonFile.empty())
            out << table;
        else if (jsonFile == "-")
            out << documentText(json);
        else {
            if (auto own = notOfRecording(jsonFile, recording); !own) return fail(own.fault());
            if (auto written = writeTextFile(jsonFile, documentText(json)); !written) return fail(written.fault());
        }
        return statusDone;
    }

    Watch watch(const char* what) {
        Watch result{{}, stop};
        if (progressOnTerminal)
            result.progress = [this, what](double fraction) {
                err << "\r" << what << " " << static_cast<int>(std::lround(fraction * 100.0)) << " %  " << std::flush;
            };
        return result;
    }

    void clearProgress() {
        if (progressOnTerminal) err << "\r\033[K" << std::flush;
    }

    void warn(const std::vector<std::string>& warnings) {
        clearProgress();
        for (const auto& line : warnings)
            err << "spillwright-cli: " << oneLine(line) << "\n";
    }
};

std::string isNamed(const std::string& file) {
    return file.empty() ? "needs the name of a file" : "";
}

void addFolder(CLI::App& command, CommonOptions& words) {
    command.add_option("FOLDER", words.folder, "the recording: a folder of audio files that start together")
        ->required();
}

void addCommonOptions(CLI::App& command, CommonOptions& words) {
    command.add_option("--from", words.from, "begin of the stretch to measure, s")->type_name("S");
    command.add_option("--to-time", words.to, "end of the stretch, s")->type_name("S");
    command.add_option("--band", words.band, "LO:HI, Hz (178:562)")->type_name("LO:HI");
    command.add_option("--source", words.source, "read this source alone: its name or a close track's")
        ->type_name("NAME");
    command.add_option("--sources", words.sources, "sources file: which tracks stand close to what (else guessed)")
        ->type_name("FILE");
    command.add_option("--largest-arrival", words.largestArrivalMs, "look for arrivals up to this, ms (50)")
        ->type_name("MS");
    command.add_option("--temperature", words.temperature, "of the room, degrees Celsius (20)")->type_name("C");
    command.add_option("--threads", words.threads, "worker threads (one a core)")
        ->type_name("N")
        ->check(CLI::Range(1, 256));
    command.add_flag("--no-cache", words.noCache, "read the audio even where its spectra are kept, and keep none");
}

void addJson(CLI::App& command, CommonOptions& words) {
    command.add_option("--json", words.json, "write the result as JSON; - is standard output")
        ->type_name("FILE")
        ->check(isNamed);
}

/// The words of a call, as far as they were given.
struct Words {
    CommonOptions common;
    ProposeWords propose;
    RenderWords render;
    SumsWords sums;
    ReportWords report;
    CompareWords compare;
    LessonWords lesson;
    std::string saveSources, demoName, demoTo, manualTo;
    int demoThreads = 0;
};

void addTime(CLI::App& command, std::optional<double>& seconds) {
    command
        .add_option("--time", seconds, "s: each rung's search and proof take no longer (without it counts end them)")
        ->type_name("S");
}

/// Every command and option; the one place from which calls are understood and man pages and completions are made.
void addCommands(CLI::App& app, Words& words) {
    app.description("Polarity and offsets of multi-microphone recordings, by ear and by measurement.");
    app.name("spillwright-cli");
    app.set_version_flag("--version", "spillwright-cli " SPILLWRIGHT_VERSION);
    app.require_subcommand(1);
    auto& [common, proposeWords, renderWords, sumsWords, reportWords, compareWords, lessonWords, saveSources, demoName,
           demoTo, manualTo, demoThreads] = words;

    auto* measureApp = app.add_subcommand("measure", "measure every pair of tracks, and which source is heard where");
    addFolder(*measureApp, common);
    addCommonOptions(*measureApp, common);
    addJson(*measureApp, common);
    measureApp
        ->add_option("--save-sources", saveSources, "write which tracks stand close to what, to be mended by hand")
        ->type_name("FILE");

    auto* proposeApp = app.add_subcommand("propose", "propose flips, and flips with nudges");
    addFolder(*proposeApp, common);
    addCommonOptions(*proposeApp, common);
    addJson(*proposeApp, common);
    proposeApp->add_option("--allow", proposeWords.allow, "flips or nudges; both without it")
        ->type_name("RUNG")
        ->check(CLI::IsMember({"flips", "nudges"}));
    proposeApp->add_option("--largest-nudge", proposeWords.largestNudgeMs, "ms (10)")->type_name("MS");
    addTime(*proposeApp, proposeWords.timeSeconds);
    proposeApp
        ->add_option("--least-worth", proposeWords.leastWorthDb,
                     "dB: changes worth less are left out, unless --count asks for several (0.1)")
        ->type_name("DB");
    proposeApp->add_option("--reference", proposeWords.reference, "track that keeps polarity and place")
        ->type_name("TRACK");
    proposeApp->add_option("--hold", proposeWords.hold, "track whose flip and nudge stay; may be repeated")
        ->type_name("TRACK")
        ->expected(1)
        ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
    proposeApp->add_option("--group", proposeWords.groups, "TRACK,TRACK,...: tracks that move as one; may be repeated")
        ->type_name("TRACK,TRACK,...")
        ->expected(1)
        ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
    proposeApp
        ->add_option("--own-largest-nudge", proposeWords.ownLargest,
                     "TRACK=MS: a track's own largest nudge; may be repeated")
        ->type_name("TRACK=MS")
        ->expected(1)
        ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
    proposeApp->add_flag("--stereo", proposeWords.stereo,
                         "the stereo sum, left and right in power, by the setting's pans");
    proposeApp->add_flag("--even-balance", proposeWords.evenBalance,
                         "gains that make all tracks equally loud, in place of the setting's");
    proposeApp
        ->add_option("--aim", proposeWords.aim,
                     "mean or worst: serve the sums of the sources, not that of all that sounds")
        ->type_name("AIM")
        ->check(CLI::IsMember({"mean", "worst"}));
    proposeApp
        ->add_option("--aim-source", proposeWords.aimSources,
                     "NAME or NAME=WEIGHT: a source that --aim serves (every one alike); may be repeated")
        ->type_name("NAME[=WEIGHT]")
        ->expected(1)
        ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
    proposeApp->add_flag("--unlink", proposeWords.unlink, "let linked tracks move apart");
    proposeApp->add_option("--setting", proposeWords.setting, "setting file to start from")->type_name("FILE");
    proposeApp->add_option("--count", proposeWords.count, "list the K best of each rung (1)")
        ->type_name("K")
        ->check(CLI::Range(1, 100));
    proposeApp->add_option("--save", proposeWords.save, "write the best setting to this file")->type_name("FILE");

    auto* renderApp = app.add_subcommand("render", "write the tracks with a setting's flips and nudges in");
    renderApp->add_option("FOLDER", renderWords.folder, "the recording")->required();
    renderApp->add_option("--setting", renderWords.setting, "setting file")->type_name("FILE")->required();
    renderApp->add_option("--to", renderWords.to, "folder to write into")->type_name("FOLDER")->required();
    renderApp->add_option("--sum", renderWords.sum, "also write the stereo sum to this file")->type_name("FILE");
    renderApp
        ->add_option("--notes", renderWords.notes,
                     "also write what was done, with a SHA-256 of each file, to this text file")
        ->type_name("FILE");
    renderApp->add_option("--bits", renderWords.bits, "16, 24 or 32f (24)")
        ->type_name("BITS")
        ->check(CLI::IsMember({"16", "24", "32f"}));
    renderApp->add_flag("--replace", renderWords.replace, "replace files in the folder");

    auto* sumsApp =
        app.add_subcommand("sums", "write the stereo sums of several settings, equally loud, to be compared");
    sumsApp->add_option("FOLDER", sumsWords.folder, "the recording")->required();
    sumsApp->add_option("--setting", sumsWords.settings, "setting file; may be repeated")
        ->type_name("FILE")
        ->expected(1)
        ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
    sumsApp->add_option("--session", sumsWords.session, "session file: all of its versions")
        ->type_name("FILE.spillwright");
    sumsApp->add_option("--to", sumsWords.to, "folder to write into")->type_name("FOLDER")->required();
    sumsApp->add_option("--loudness", sumsWords.targetLufs, "LUFS to bring all of them to (that of the quietest)")
        ->type_name("LUFS");
    sumsApp->add_flag("--replace", sumsWords.replace, "replace files in the folder");

    auto* reportApp = app.add_subcommand("report", "write a page for somebody who was not there, and a recall sheet");
    addFolder(*reportApp, common);
    addCommonOptions(*reportApp, common);
    reportApp->add_option("--setting", reportWords.setting, "setting file: the setting taken (else the best flips)")
        ->type_name("FILE");
    reportApp
        ->add_option("--session", reportWords.session,
                     "session file: its versions, and what was heard as the setting taken")
        ->type_name("FILE.spillwright");
    reportApp->add_option("--to", reportWords.to, "HTML file to write")
        ->type_name("FILE.html")
        ->required()
        ->check(isNamed);
    reportApp->add_option("--recall", reportWords.recall, "also write the recall sheet to this CSV file")
        ->type_name("FILE.csv");
    addTime(*reportApp, reportWords.timeSeconds);
    reportApp->add_option("--date", reportWords.date, "date that the report is to bear, as it is to be read (none)")
        ->type_name("TEXT");
    reportApp->add_flag("--replace", reportWords.replace, "replace files that are there already");
    auto* compareApp = app.add_subcommand("compare", "two takes or more of one set-up, or microphones for one job");
    compareApp->add_option("FOLDER", compareWords.folders, "the takes, each against the first")->required();
    addCommonOptions(*compareApp, common);
    addJson(*compareApp, common);
    compareApp
        ->add_option("--microphone", compareWords.microphones,
                     "TRACK: one of two or more for one job in one recording, each as if the others were not in the "
                     "mix; repeated")
        ->type_name("TRACK")
        ->expected(1)
        ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
    compareApp
        ->add_option("--match", compareWords.match,
                     "TRACK=TRACK: a track of the first take and what it is called in another; may be repeated")
        ->type_name("TRACK=TRACK")
        ->expected(1)
        ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
    compareApp->add_flag("--all", compareWords.all, "list all related pairs, not only those that differ");

    auto* demoApp = app.add_subcommand("demo", "compute a demo recording; without NAME: list them");
    demoApp->add_option("NAME", demoName, "demo session");
    demoApp->add_option("--to", demoTo, "folder to write into")->type_name("FOLDER");
    demoApp->add_option("--threads", demoThreads, "worker threads (one a core)")
        ->type_name("N")
        ->check(CLI::Range(1, 256));

    auto* lessonApp =
        app.add_subcommand("lesson", "list the lessons; print the page of one, or with --to write it and its sound");
    lessonApp->add_option("NAME", lessonWords.name, "number, name or title of a lesson, or a lesson file");
    lessonApp->add_option("--to", lessonWords.to, "folder to write page and sound into")->type_name("FOLDER");
    lessonApp->add_option("--sound", lessonWords.sound, "pink noise, drums or voice (the lesson's own)")
        ->type_name("SOUND")
        ->check(CLI::IsMember(std::vector<std::string>(practiceSoundNames.begin(), practiceSoundNames.end())));
    lessonApp->add_option("--recording", lessonWords.recording, "recording whose track is the sound")
        ->type_name("FOLDER");
    lessonApp->add_option("--track", lessonWords.track, "that track")->type_name("TRACK");
    lessonApp->add_option("--from", lessonWords.from, "begin of the up to 20 s of it, s (0)")->type_name("S");
    lessonApp->add_option("--threads", lessonWords.threads, "worker threads (one a core)")
        ->type_name("N")
        ->check(CLI::Range(1, 256));

    auto* manualApp = app.add_subcommand("manual", "write the manual as HTML pages");
    manualApp->add_option("--to", manualTo, "folder to write into; index.html lists the chapters")
        ->type_name("FOLDER")
        ->required()
        ->check(isNamed);
}

} // namespace

std::shared_ptr<const CLI::App> commandTable() {
    struct Table {
        Words words;
        CLI::App app;
    };
    auto table = std::make_shared<Table>();
    addCommands(table->app, table->words);
    return {table, &table->app};
}

int runCommandLine(const std::vector<std::string>& arguments, std::ostream& out, std::ostream& err,
                   const std::filesystem::path& cache, bool progressOnTerminal, std::stop_token stop) {
    CLI::App app;
    Words words;
    addCommands(app, words);
    Run run(out, err, cache, progressOnTerminal, std::move(stop));
    const auto named = [&](const CLI::App* command) { return command->get_name() == arguments.front(); };
    if (!arguments.empty() && !arguments.front().starts_with('-') && app.get_subcommands(named).empty())
        return run.fail(Run::usage(arguments.front(), "there is no such command", "spillwright-cli --help lists them"));
    try {
        app.parse(std::vector<std::string>(arguments.rbegin(), arguments.rend()));
    } catch (const CLI::Success& asked) { // help or version
        return app.exit(asked, out, err);
    } catch (const CLI::ParseError& error) {
        return run.fail(Run::usage("call", error.what(), "spillwright-cli --help says how"));
    }
    if (app.got_subcommand("measure")) return run.said(run.measureCommand(words.common, words.saveSources));
    if (app.got_subcommand("propose")) return run.said(run.proposeCommand(words.common, words.propose));
    if (app.got_subcommand("sums")) return run.said(run.sumsCommand(words.sums));
    if (app.got_subcommand("report")) return run.said(run.reportCommand(words.common, words.report));
    if (app.got_subcommand("compare")) return run.said(run.compareCommand(words.common, words.compare));
    if (app.got_subcommand("render")) return run.said(run.renderCommand(words.render));
    if (app.got_subcommand("lesson")) return run.said(run.lessonCommand(words.lesson));
    if (app.got_subcommand("manual")) return run.said(run.manualCommand(words.manualTo));
    return run.said(run.demoCommand(words.demoName, words.demoTo, words.demoThreads));
}

} // namespace spillwright
