// The controller's part that has to do with how the tracks are listed.

#include "Desk/Controller.h"

#include "Desk/StepWords.h"
#include "Session/Words.h"

#include <algorithm>
#include <utility>

namespace spillwright::desk {

namespace {

std::size_t at(int index) {
    return static_cast<std::size_t>(index);
}

} // namespace

const std::string& Controller::shownName(int track) const {
    const auto& given = now->list.names;
    if (at(track) < given.size() && !given[at(track)].empty()) return given[at(track)];
    return tracks()[at(track)].name;
}

void Controller::renameTrack(int track, const std::string& name) {
    if (track < 0 || track >= trackCount()) return;
    const bool asFile = name.empty() || name == tracks()[at(track)].name;
    for (int other = 0; other < trackCount(); ++other)
        if (!asFile && other != track && (shownName(other) == name || tracks()[at(other)].name == name))
            return say("'" + name + "' is another track's name; choose a new one", true);
    Snapshot next = *now;
    next.list.names[at(track)] = asFile ? std::string() : name;
    if (next.list != now->list)
        edit(std::move(next), stepWords::rename(tracks()[at(track)].name, asFile ? tracks()[at(track)].name : name));
}

void Controller::labelNext() {
    if (chosen < 0) return;
    const auto tracks = lookedAt.empty() ? std::vector<int>{chosen} : lookedAt;
    Snapshot next = *now;
    const int label = (next.list.labels[at(chosen)] + 1) % (TrackList::labelCount + 1);
    for (int track : tracks)
        next.list.labels[at(track)] = label;
    edit(std::move(next), stepWords::label(names(chosen), label));
}

void Controller::moveTrack(int track, int place) {
    if (track < 0 || track >= trackCount()) return;
    Snapshot next = *now;
    next.list.move(track, place);
    if (next.list != now->list) edit(std::move(next), stepWords::place(names(track)));
}

void Controller::toggleGroup() {
    if (chosen < 0) return;
    Snapshot next = *now;
    if (const int group = next.list.groupOf(chosen); group >= 0 && lookedAt.empty()) {
        const auto name = next.list.groups[at(group)].name;
        next.list.ungroup(group);
        return edit(std::move(next), stepWords::ungroup(name));
    }
    if (lookedAt.size() < 2) return say("Choose several tracks first: Shift or Ctrl and a click.");
    std::vector<std::string> called;
    for (int track : now->list.order)
        if (std::binary_search(lookedAt.begin(), lookedAt.end(), track)) called.push_back(shownName(track));
    auto name = commonWords(called);
    if (name.empty()) name = called.front() + " and others";
    next.list.group(lookedAt, freeGroupName(name));
    edit(std::move(next), stepWords::group(name));
}

/// Neighbours of one name would be one group in a session file.
std::string Controller::freeGroupName(const std::string& name) const {
    const auto taken = [&](const std::string& wanted) {
        return std::any_of(now->list.groups.begin(), now->list.groups.end(),
                           [&](const auto& group) { return group.name == wanted; });
    };
    std::string free = name;
    for (int number = 2; taken(free); ++number)
        free = name + " " + std::to_string(number);
    return free;
}

void Controller::renameGroup(int group, const std::string& name) {
    if (group < 0 || group >= static_cast<int>(now->list.groups.size()) || name.empty() ||
        name == now->list.groups[at(group)].name)
        return;
    Snapshot next = *now;
    next.list.groups[at(group)].name = freeGroupName(name);
    edit(std::move(next), stepWords::group(name));
}

void Controller::toggleFold(int group) {
    if (group < 0 || group >= static_cast<int>(now->list.groups.size())) return;
    auto next = std::make_shared<Snapshot>(*now);
    auto& folded = next->list.groups[at(group)].folded;
    folded = !folded;
    now = std::move(next);
    tell(settingChanged);
}

int Controller::besideInList(int track, int lines) const {
    std::vector<int> shown;
    for (int each : now->list.order)
        if (each == track || !now->list.hidden(each)) shown.push_back(each);
    const auto found = std::find(shown.begin(), shown.end(), track);
    if (found == shown.end()) return track;
    const auto place = std::clamp<std::ptrdiff_t>(found - shown.begin() + lines, 0, std::ssize(shown) - 1);
    return shown[static_cast<std::size_t>(place)];
}

} // namespace spillwright::desk
