#include "Desk/Autosave.h"

#include "Desk/Fingerprint.h"
#include "Session/Document.h"
#include "Session/Files.h"
#include "Session/SessionFile.h"
#include "Session/TextFile.h"

#include <algorithm>
#include <chrono>

namespace spillwright::desk {

namespace {

namespace fs = std::filesystem;

constexpr std::size_t mostOfOneRecording = 4; ///< States that stay; older ones go.

/// Beside the states, in a folder of the program's own: the library's usual one is everybody's.
fs::path locksOf(const fs::path& folder) {
    return folder.parent_path() / "locks";
}

juce::String lockName(const fs::path& file) {
    return juce::String::fromUTF8((locksOf(file.parent_path()) / file.filename()).string().c_str());
}

bool isFree(const fs::path& file) {
    return juce::InterProcessLock(lockName(file)).enter(0);
}

/// States of recordings whose names begin so, the newest first.
std::vector<fs::path> statesIn(const fs::path& folder, const std::string& nameBegin) {
    std::vector<std::pair<fs::file_time_type, fs::path>> found;
    std::error_code error;
    for (fs::directory_iterator it(folder, error), end; !error && it != end; it.increment(error)) {
        const auto& path = it->path();
        std::error_code gone;
        const auto time = fs::last_write_time(path, gone);
        if (!gone && path.extension() == sessionEnding && path.filename().string().starts_with(nameBegin))
            found.emplace_back(time, path);
    }
    std::sort(found.begin(), found.end(), std::greater<>());
    std::vector<fs::path> paths;
    for (auto& [time, path] : found)
        paths.push_back(std::move(path));
    return paths;
}

/// States are told apart by their times: after a clock that was set back, too, the last one written is the newest.
void becomesNewest(const fs::path& file) {
    std::error_code ignored;
    const auto others = statesIn(file.parent_path(), "");
    const auto time = fs::last_write_time(file, ignored);
    if (others.empty() || others.front() == file) return;
    const auto newest = fs::last_write_time(others.front(), ignored);
    if (!ignored && newest >= time) fs::last_write_time(file, newest + std::chrono::milliseconds(1), ignored);
}

/// "12:41", with the day where that is not today.
std::string whenWritten(const fs::path& file) {
    const auto time = juce::File(juce::String::fromUTF8(file.string().c_str())).getLastModificationTime();
    const auto now = juce::Time::getCurrentTime();
    const bool today = time.getYear() == now.getYear() && time.getDayOfYear() == now.getDayOfYear();
    return time.formatted(today ? "%H:%M" : "%d %b %H:%M").toStdString();
}

} // namespace

Autosave::Autosave(Controller& c, fs::path f) : controller(c), folder(std::move(f)) {
    makeOwnFolder(folder); // where it cannot be made, the first state that is kept says so
    makeOwnFolder(locksOf(folder));
    controller.addListener([this](unsigned what) { changed(what); });
    offered = newest("");
}

Autosave::~Autosave() {
    keep(true);
}

void Autosave::changed(unsigned what) {
    // Before another recording takes its place.
    if ((what & Controller::taskChanged) &&
        (controller.task() == Controller::Task::opening || controller.task() == Controller::Task::computingDemo))
        keep(true);
    if (what & Controller::recordingChanged) {
        begin();
    } else if ((what & Controller::sessionFileChanged) && controller.recording() && !controller.sessionChanged()) {
        forget(); // it was saved
        const auto begin = nameForFolder(controller.recording()->folder());
        std::error_code ignored;
        for (const auto& file : declined)
            if (file.filename().string().starts_with(begin) && isFree(file)) fs::remove(file, ignored);
    }
}

/// Of a recording that has just been opened.
void Autosave::begin() {
    own.clear(); // what it holds of the one before stays
    lock.reset();
    kept.reset();
    if (!controller.openedBy().empty() && controller.openedBy().parent_path() == folder) {
        own = controller.openedBy();
        lock = std::make_unique<juce::InterProcessLock>(lockName(own));
        if (!lock->enter(0)) own.clear(); // another program goes on there: this one keeps its own
        setOffer(std::nullopt);
    } else {
        setOffer(newest(nameForFolder(controller.recording()->folder())));
    }
}

void Autosave::poll(double seconds) {
    if (!writing && writer.joinable()) {
        writer.join();
        if (!fault.empty() && !std::exchange(faultTold, true)) controller.say(fault, true);
    }
    if (lastLook && seconds - *lastLook < keptEvery.value) return;
    lastLook = seconds;
    keep(false);
}

void Autosave::keep(bool now) {
    if (writer.joinable()) {
        if (!now && writing) return;
        writer.join();
    }
    if (!controller.recording()) return;
    if (!controller.sessionChanged()) return forget();
    auto state = controller.session();
    state.unsavedOf = controller.sessionPath().string();
    if (kept == state) return;
    if (own.empty()) {
        const auto name = nameForFolder(controller.recording()->folder());
        removeOldest(name);
        for (int k = 1; own.empty(); ++k) {
            const auto file = folder / (name + " " + std::to_string(k) + sessionEnding);
            std::error_code ignored;
            if (fs::exists(file, ignored)) continue;
            lock = std::make_unique<juce::InterProcessLock>(lockName(file));
            if (lock->enter(0)) own = file;
        }
    }
    kept = state;
    placeSession(state, controller.recording()->folder(), own);
    auto write = [this, state = std::move(state), file = own] {
        const auto done = writeTextFile(file, documentText(sessionToJson(state)));
        if (done) becomesNewest(file);
        fault = done ? "" : done.fault().line() + "; until then nothing is kept for a restart";
        writing = false;
    };
    if (now) return write();
    writing = true;
    writer = std::jthread(std::move(write));
}

/// There is nothing that is not saved.
void Autosave::forget() {
    if (writer.joinable()) writer.join();
    std::error_code ignored;
    if (!own.empty()) fs::remove(own, ignored);
    own.clear();
    lock.reset();
    kept.reset();
}

std::optional<Autosave::Offer> Autosave::newest(const std::string& nameBegin) const {
    for (const auto& file : statesIn(folder, nameBegin)) {
        if (file == own || declined.contains(file) || !isFree(file)) continue;
        const auto state = readSessionFile(file);
        if (!state) continue;
        const fs::path session(state->unsavedOf.value_or(""));
        const auto name = session.empty() ? fs::path(state->folderAbsolute).filename() : session.stem();
        return Offer{file, "Go on where it stopped: '" + name.string() + "', " + whenWritten(file)};
    }
    return std::nullopt;
}

void Autosave::setOffer(std::optional<Offer> offer) {
    offered = std::move(offer);
    if (onOffer) onOffer();
}

void Autosave::take() {
    if (!offered || controller.busy()) return;
    controller.openSession(offered->file, std::nullopt, {{}, true});
}

void Autosave::decline() {
    if (!offered) return;
    declined.insert(offered->file);
    setOffer(std::nullopt);
}

void Autosave::removeOldest(const std::string& nameBegin) {
    const auto states = statesIn(folder, nameBegin);
    for (std::size_t k = mostOfOneRecording - 1; k < states.size(); ++k) {
        std::error_code ignored;
        if (!(offered && states[k] == offered->file) && isFree(states[k])) fs::remove(states[k], ignored);
    }
}

} // namespace spillwright::desk
