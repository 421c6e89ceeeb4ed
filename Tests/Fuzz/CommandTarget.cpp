#include "Fuzz/Targets.h"

#include "Cli/CommandLine.h"
#include "Media/WriteAudio.h"
#include "Support/TestWav.h"

#include <chrono>
#include <condition_variable>
#include <map>
#include <mutex>
#include <sstream>
#include <thread>

namespace spillwright::fuzz {

namespace fs = std::filesystem;

namespace {

constexpr auto settingText =
    R"({"format":"spillwright/setting","version":1,"name":"s","tracks":[{"track":"a","flip":true}]})";
constexpr auto sourcesText =
    R"({"format":"spillwright/sources","version":1,"sources":[{"name":"s","closeTracks":["a"]}]})";
constexpr auto lessonText =
    R"({"format":"spillwright/lesson","version":1,"title":"t","room":{"microphones":[{"name":"m","position_m":[2,2,1]}]}})";

/// The folder that the words are run in: two takes, and a file of each kind.
class Fixture {
public:
    Fixture() {
        for (const char* take : {"take", "take2"}) {
            fs::create_directories(folder / take);
            const auto sound = test::noise(6000, take[4] + 1u, 0.1f);
            for (int k = 0; k < 3; ++k)
                test::writeWav(folder / take / (std::string(1, static_cast<char>('a' + k)) + ".wav"),
                               test::delayed(sound, 5 * k), 8000);
        }
        test::writeBytes(folder / "set.json", settingText);
        test::writeBytes(folder / "src.json", sourcesText);
        test::writeBytes(folder / "les.json", lessonText);
        test::writeBytes(folder / "ses.spillwright",
                         std::string(R"({"format":"spillwright/session","version":1,"setting":)") + settingText + "}");
        kept = content();
        fs::current_path(folder);
    }

    /// Takes out what a run has left, and looks whether a recording was touched.
    void restore() {
        const auto now = content();
        if (now == kept) return;
        for (const auto& [name, bytes] : kept) {
            const auto found = now.find(name);
            const bool same = found != now.end() && found->second == bytes;
            require(same || !name.starts_with("take"), "a recording is never written to");
            if (!same) test::writeBytes(folder / name, bytes);
        }
        for (const auto& [name, bytes] : now)
            if (!kept.contains(name)) fs::remove(folder / name);
        for (fs::directory_iterator entry(folder), end; entry != end; ++entry)
            if (entry->is_directory() && !entry->path().filename().string().starts_with("take"))
                fs::remove_all(entry->path());
    }

private:
    std::map<std::string, std::string> content() const {
        std::map<std::string, std::string> result;
        for (fs::recursive_directory_iterator entry(folder), end; entry != end; ++entry) {
            if (!entry->is_regular_file()) continue;
            std::ostringstream bytes;
            bytes << std::ifstream(entry->path(), std::ios::binary).rdbuf();
            result[entry->path().lexically_relative(folder).string()] = bytes.str();
        }
        return result;
    }

    fs::path folder = sandbox() / "call";
    std::map<std::string, std::string> kept;
};

/// Nothing that leads out of the folder: no "..", and no path from the root.
bool staysInside(const std::string& word) {
    if (word.find("..") != std::string::npos || word.find('\0') != std::string::npos) return false;
    for (auto at = word.find('/'); at != std::string::npos; at = word.find('/', at + 1))
        if (at == 0 || !std::isalnum(static_cast<unsigned char>(word[at - 1]))) return false;
    return true;
}

/// Asks a call that takes long to stop, as Ctrl-C does.
class Stopper {
public:
    Stopper() : thread([this](const std::stop_token& ended) { run(ended); }) {}
    ~Stopper() { thread.request_stop(); }
    std::stop_token token() const { return source.get_token(); }

private:
    void run(const std::stop_token& ended) {
        constexpr auto patience = std::chrono::milliseconds(500);
        std::unique_lock lock(mutex);
        over.wait_for(lock, ended, patience, [] { return false; });
        source.request_stop();
    }
    std::mutex mutex;
    std::condition_variable_any over;
    std::stop_source source;
    std::jthread thread;
};

} // namespace

void commandLine(Bytes bytes) {
    static Fixture fixture;
    std::vector<std::string> words;
    std::istringstream lines(textOf(bytes));
    for (std::string word; std::getline(lines, word);) {
        if (!staysInside(word)) return;
        words.push_back(std::move(word));
    }
    std::ostringstream out, err;
    Stopper stopper;
    const int status = runCommandLine(words, out, err, {}, false, stopper.token());
    require(status == 0 || status == 1 || status == 2, "the exit status is one of three");
    require(status == 0 || !err.str().empty(), "what fails says why");
    fixture.restore();
}

} // namespace spillwright::fuzz
