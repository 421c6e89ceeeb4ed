#include "Desk/Trace.h"

#include "Session/TextFile.h"

#include <nlohmann/json.hpp>

#include <algorithm>
#include <ctime>

namespace spillwright::desk {

namespace {

using Json = nlohmann::ordered_json;
using Clock = std::chrono::steady_clock;

double processorMs() {
#if JUCE_WINDOWS
    return juce::Time::getMillisecondCounterHiRes();
#else
    timespec time{};
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &time);
    return static_cast<double>(time.tv_sec) * 1e3 + static_cast<double>(time.tv_nsec) * 1e-6;
#endif
}

/// In pixels of the screen, from the upper left corner of the window's content, however small it is drawn.
Json placeOf(const juce::Component& root, const juce::Component& part, juce::Rectangle<float> area) {
    const auto* drawnIn = root.getParentComponent();
    const auto place =
        (drawnIn ? *drawnIn : root).getLocalArea(&part, area) * juce::Desktop::getInstance().getGlobalScaleFactor();
    return {place.getX(), place.getY(), place.getWidth(), place.getHeight()};
}

const char* nameOf(TrackField field) {
    switch (field) {
    case TrackField::flip:
        return "flip";
    case TrackField::nudge:
        return "nudge";
    case TrackField::mute:
        return "mute";
    case TrackField::solo:
        return "solo";
    case TrackField::name:
        return "name";
    default:
        return nullptr;
    }
}

/// As it is read out to those who do not see it.
Json described(const juce::Component& root, juce::Component& part) {
    const auto* spoken = part.getAccessibilityHandler();
    Json told{{"title", (spoken ? spoken->getTitle() : part.getTitle()).toStdString()},
              {"place", placeOf(root, part, part.getLocalBounds().toFloat())}};
    if (const auto* button = dynamic_cast<juce::Button*>(&part)) {
        told["button"] = button->getButtonText().toStdString();
        told["on"] = button->getToggleState();
    }
    if (const auto* field = dynamic_cast<juce::TextEditor*>(&part)) told["text"] = field->getText().toStdString();
    const auto said = spoken ? spoken->getDescription() : part.getDescription();
    if (said.isNotEmpty()) told["said"] = said.toStdString();
    told["enabled"] = part.isEnabled();
    told["focus"] = part.hasKeyboardFocus(false);
    if (dynamic_cast<TrackRow*>(&part))
        for (auto field : {TrackField::name, TrackField::flip, TrackField::nudge, TrackField::mute, TrackField::solo})
            told["fields"][nameOf(field)] = placeOf(root, part, fieldArea(field, part.getLocalBounds().toFloat()));
    if (const auto* grid = dynamic_cast<GridView*>(&part)) {
        told["cells"] = grid->shownTracks().size();
        told["cell"] = placeOf(root, part, grid->cellArea({1, 0}));
    }
    return told;
}

/// What is scrolled out of sight is not seen.
bool seen(const juce::Component& part) {
    auto area = part.getLocalBounds();
    for (const juce::Component* in = part.getParentComponent(), *below = &part; in;
         below = in, in = in->getParentComponent())
        area = (area + below->getPosition()).getIntersection(in->getLocalBounds());
    return !area.isEmpty();
}

void walk(const juce::Component& root, juce::Component& part, Json& parts) {
    for (auto* child : part.getChildren()) {
        if (!child->isVisible() || !seen(*child)) continue;
        parts.push_back(described(root, *child));
        walk(root, *child, parts);
    }
}

const char* nameOf(Controller::Task task) {
    switch (task) {
    case Controller::Task::none:
        return "";
    case Controller::Task::opening:
        return "opening";
    case Controller::Task::computingDemo:
        return "computing the demo";
    case Controller::Task::measuring:
        return "measuring";
    case Controller::Task::proposing:
        return "proposing";
    case Controller::Task::rendering:
        return "rendering";
    case Controller::Task::reporting:
        return "reporting";
    }
    return "";
}

} // namespace

Trace::Trace(MainComponent& m, Controller& c, Player& p, std::filesystem::path f)
    : main(m), controller(c), player(p), folder(std::move(f)) {
    std::error_code ignored; // where it cannot be made, nobody is answered
    std::filesystem::create_directories(folder, ignored);
    processorBefore = processorMs();
    clockBefore = looked = Clock::now();
    startTimer(1);
}

Trace::~Trace() {
    stopTimer();
    cancelPendingUpdate();
}

void Trace::handleAsyncUpdate() {
    const auto clock = Clock::now();
    const double ms = std::chrono::duration<double, std::milli>(clock - clockBefore).count();
    longest.push_back({processorMs() - processorBefore, ms, nameOf(controller.task())});
    std::sort(longest.begin(), longest.end(), [](auto& a, auto& b) { return a.processorMs > b.processorMs; });
    if (longest.size() > mostSteps) longest.pop_back();
    if (clock - looked > std::chrono::milliseconds(10)) {
        looked = clock;
        std::error_code ignored;
        if (std::filesystem::exists(folder / "ask", ignored)) {
            const auto written = writeTextFile(folder / "answer.json", answer());
            juce::ignoreUnused(written); // a check that gets no answer says so
            longest.clear();
            std::filesystem::remove(folder / "ask", ignored);
        }
    }
    processorBefore = processorMs(); // an answer is no step of the window
    clockBefore = Clock::now();
}

std::string Trace::answer() const {
    Json told;
    told["task"] = nameOf(controller.task());
    told["settled"] = main.settled();
    told["notice"] = controller.notice() ? controller.notice()->text : "";
    told["heard"] = controller.heardVersion() ? static_cast<int>(indexOf(*controller.heardVersion())) + 1 : 0;
    told["playing"] = player.playing();
    told["pair"] = {controller.selectedTrack(), controller.partnerTrack()};
    told["undo"] = controller.undoWords();
    told["sheet"] = main.sheet() ? main.sheet()->getTitle().toStdString() : "";
    told["steps"] = Json::array();
    for (const auto& step : longest)
        told["steps"].push_back({{"processor_ms", step.processorMs}, {"clock_ms", step.clockMs}, {"task", step.task}});
    const auto size = main.getLocalBounds().toFloat();
    told["size"] = placeOf(main, main, size);
    told["parts"] = Json::array({described(main, main)});
    walk(main, main, told["parts"]);
    return told.dump(1);
}

} // namespace spillwright::desk
