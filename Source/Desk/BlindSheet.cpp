#include "Desk/BlindSheet.h"

#include "Core/Binomial.h"
#include "Desk/Look.h"
#include "Desk/Words.h"
#include "Session/Amounts.h"
#include "Session/Words.h"

#include <algorithm>
#include <cmath>
#include <random>

namespace spillwright::desk {

namespace {

constexpr std::array trialCounts{5, 8, 10, 12, 16, 20, 25, 30, 40, 50, 100};
constexpr int usualTrials = 16;
constexpr int idIdentification = 1, idPreference = 2; // of the choices; 0 would be none
constexpr int lineHeight = 34, labelWidth = 130, textLine = 19;
constexpr std::array soundNames{"A", "B", "X", "Y"};
constexpr std::array soundKeys{'a', 'b', 'x', 'y'};

double now() {
    return juce::Time::getMillisecondCounterHiRes() * 0.001;
}

/// Left and right: what the two answers stand for.
std::array<BlindSound, 2> answersTo(BlindQuestion question) {
    if (question == BlindQuestion::preference) return {BlindSound::x, BlindSound::y};
    return {BlindSound::a, BlindSound::b};
}

} // namespace

BlindSheet::BlindSheet(Controller& c) : Sheet("Blind comparison"), controller(c) {
    seed = [] {
        std::random_device device;
        return (static_cast<std::uint64_t>(device()) << 32) | device();
    };
    first.setTitle("First version");
    second.setTitle("Second version");
    question.setTitle("What is asked");
    trials.setTitle("Number of trials");
    for (int kind = 0; kind < versionCount; ++kind)
        if (controller.version(static_cast<VersionKind>(kind)))
            for (auto* box : {&first, &second})
                box->addItem(ui::text(std::to_string(kind + 1) + "  " +
                                      words::versionName(controller, static_cast<VersionKind>(kind))),
                             kind + 1);
    const int heardNow = controller.heardVersion() ? static_cast<int>(indexOf(*controller.heardVersion())) + 1 : 1;
    first.setSelectedId(1, juce::dontSendNotification);
    second.setSelectedId(heardNow == 1 && first.getNumItems() > 1 ? first.getItemId(1) : heardNow,
                         juce::dontSendNotification);
    question.addItem("which is it? X is one of A and B", idIdentification);
    question.addItem("which is better? X and Y are the two", idPreference);
    question.setSelectedId(idIdentification, juce::dontSendNotification);
    for (int count : trialCounts)
        trials.addItem(juce::String(count), count);
    trials.setEditableText(true); // any number
    trials.setSelectedId(usualTrials, juce::dontSendNotification);
    for (auto* box : {&first, &second, &question, &trials}) {
        box->onChange = [this] { showPhase(); };
        addAndMakeVisible(box);
    }
    begin.setToggleState(true, juce::dontSendNotification);
    begin.onClick = [this] { startTest(); };
    early.onClick = [this] { endEarly(); };
    leave.onClick = [this] {
        if (onClose) onClose();
    };
    save.setToggleState(true, juce::dontSendNotification);
    save.onClick = [this] { saveProtocol(); };
    for (std::size_t sound = 0; sound < sounds.size(); ++sound) {
        sounds[sound].setButtonText(juce::String("hear ") + soundNames[sound]);
        sounds[sound].onClick = [this, sound] { hear(static_cast<BlindSound>(sound)); };
        addChildComponent(sounds[sound]);
    }
    for (std::size_t side = 0; side < answers.size(); ++side) {
        answers[side].onClick = [this, side] {
            if (test) answer(answersTo(test->question())[side]);
        };
        addChildComponent(answers[side]);
    }
    auto home = juce::File::getSpecialLocation(juce::File::userDocumentsDirectory);
    if (!home.isDirectory()) home = juce::File::getSpecialLocation(juce::File::userHomeDirectory);
    file.setText(
        home.getChildFile(ui::text(controller.sessionName() + " blind comparison " +
                                   juce::Time::getCurrentTime().formatted("%Y-%m-%d %H.%M").toStdString() + ".txt"))
            .getFullPathName(),
        false);
    file.setTitle("File to save the comparison in");
    file.setFont(ui::font(13.5f));
    file.onReturnKey = [this] { saveProtocol(); };
    file.onEscapeKey = [this] {
        if (onClose) onClose();
    };
    for (juce::Component* part : std::initializer_list<juce::Component*>{&begin, &leave, &early, &save, &file})
        addChildComponent(part);
    showPhase();
}

juce::Component& BlindSheet::firstPart() {
    return test ? static_cast<juce::Component&>(*this) : first;
}

std::optional<VersionKind> BlindSheet::chosenIn(const juce::ComboBox& box) const {
    if (box.getSelectedId() < 1) return std::nullopt;
    return static_cast<VersionKind>(box.getSelectedId() - 1);
}

void BlindSheet::startTest() {
    const auto a = chosenIn(first), b = chosenIn(second);
    if (!a || !b) return;
    if (a == b) {
        shown = {"Choose two different versions: " + words::versionName(controller, *a) + " is both."};
        return repaint();
    }
    BlindPlan plan;
    plan.question =
        question.getSelectedId() == idPreference ? BlindQuestion::preference : BlindQuestion::identification;
    plan.trials = trials.getText().getIntValue();
    plan.seed = seed();
    plan.recording = controller.sessionName();
    plan.heard = controller.loopInWords();
    plan.date = juce::Time::getCurrentTime().formatted("%Y-%m-%d %H:%M").toStdString();
    const std::array kinds{*a, *b};
    const std::array versions{&plan.a, &plan.b};
    for (std::size_t k = 0; k < 2; ++k) {
        const auto found = controller.settingOf(kinds[k]);
        if (!found) {
            shown = {words::versionName(controller, kinds[k]) +
                     " is not there any more; close this and open it again."};
            return repaint();
        }
        const auto& setting = *found;
        names[k] = words::versionName(controller, kinds[k]);
        versions[k]->name = names[k];
        versions[k]->setting = settingFrom(names[k], controller.tracks(), setting);
        if (!controller.readingLoudness()) versions[k]->loudness = controller.loudnessLufs(setting);
        mixes[k] = {};
        mixes[k].adjustments = setting;
    }
    matchLoudness(plan);
    for (std::size_t k = 0; k < 2; ++k) {
        mixes[k].gain = versions[k]->gain;
        if (versions[k]->loudness) mixes[k].loudness = *versions[k]->loudness + versions[k]->gain.value;
        mixes[k].loudnessBasis = controller.loudnessBasis();
    }
    auto started = BlindTest::start(std::move(plan));
    if (!started) {
        shown = {started.fault().line()};
        return repaint();
    }
    test.emplace(std::move(started).value());
    if (onStart) onStart();
    trialBegan = now();
    showPhase();
    hear(BlindSound::x);
    if (isShowing()) grabKeyboardFocus();
}

void BlindSheet::hear(BlindSound sound) {
    if (!running() || !test->offers(sound)) return;
    heard = sound;
    if (onHear) onHear(mixes[test->plays(sound) == Candidate::a ? 0 : 1]);
    for (std::size_t k = 0; k < sounds.size(); ++k)
        sounds[k].setToggleState(k == static_cast<std::size_t>(sound), juce::dontSendNotification);
    repaint();
}

void BlindSheet::answer(BlindSound sound) {
    if (!running() || !test->accepts(sound)) return;
    if (isPlaying && !isPlaying()) {
        shown.back() = "Nothing is playing: press Space, listen, then answer.";
        return repaint();
    }
    test->answer(sound, Seconds(now() - trialBegan));
    trialBegan = now();
    showPhase();
    if (running()) hear(BlindSound::x);
}

void BlindSheet::endEarly() {
    if (!running()) return;
    test->endEarly();
    showPhase();
}

void BlindSheet::showPhase() {
    const bool before = !test, on = running(), after = test && !on;
    for (juce::Component* part : std::initializer_list<juce::Component*>{&first, &second, &question, &trials, &begin})
        part->setVisible(before);
    for (std::size_t sound = 0; sound < sounds.size(); ++sound)
        sounds[sound].setVisible(on && test->offers(static_cast<BlindSound>(sound)));
    for (auto& button : answers)
        button.setVisible(on);
    early.setVisible(on);
    leave.setVisible(!on);
    save.setVisible(after);
    file.setVisible(after);
    shown.clear();
    if (before) {
        const int count = std::clamp(trials.getText().getIntValue(), 1, BlindPlan::mostTrials);
        const bool preference = question.getSelectedId() == idPreference;
        const auto needed = leastCount(count, 0.05, preference ? TestSides::two : TestSides::one);
        shown.push_back(
            "Both play equally loud; which is which is hidden from everybody until the end. Listen as often "
            "as you like.");
        shown.push_back(needed ? "Of " + std::to_string(count) + " trials, " + std::to_string(*needed) +
                                     (preference ? " for one and the same" : " right answers") +
                                     " would be more than luck (5 % and below)."
                               : "So few trials cannot be told from luck: choose more.");
        if (std::find(controller.solo().begin(), controller.solo().end(), true) != controller.solo().end())
            shown.push_back("What is soloed is left aside: both are heard whole.");
        if (first.getNumItems() < 2)
            shown.push_back("There is one version only: press P for proposals, or flip a track, first.");
    } else if (on) {
        const auto pair = answersTo(test->question());
        const bool preference = test->question() == BlindQuestion::preference;
        for (std::size_t side = 0; side < answers.size(); ++side)
            answers[side].setButtonText(juce::String(preference ? "I prefer " : "X is ") +
                                        soundNames[static_cast<std::size_t>(pair[side])]);
        shown.push_back("Trial " + std::to_string(test->answered() + 1) + " of " + std::to_string(test->trials()));
        shown.push_back(preference ? "X and Y are the two versions. Which do you prefer?"
                                   : "X is the same as A or as B. Which?");
        shown.push_back(
            preference ? "Keys: X, Y to hear, Left and Right to answer, Space to play and stop, End to end here."
                       : "Keys: A, B, X to hear, Left and Right to answer, Space to play and stop, End to end here.");
    } else if (const auto result = test->result()) {
        shown = blindResultInWords(*result, names[0], names[1]);
    }
    resized();
    repaint();
}

void BlindSheet::saveProtocol() {
    if (!test || running()) return;
    const std::filesystem::path path(file.getText().trim().toStdString());
    if (path.empty() || !path.is_absolute()) {
        shown.insert(shown.begin(), "The file needs its whole path; type it from the start.");
        return repaint();
    }
    if (const auto saved = test->save(path); !saved) { // the answers stay here until they are somewhere
        shown.insert(shown.begin(), saved.fault().line());
        return repaint();
    }
    controller.say("Saved " + path.string() + ".");
    if (onClose) onClose();
}

bool BlindSheet::keyPressed(const juce::KeyPress& key) {
    if (running()) {
        if (key.isKeyCode(juce::KeyPress::tabKey)) return ui::tabInto(*this, key);
        const auto pair = answersTo(test->question());
        if (key.isKeyCode(juce::KeyPress::leftKey))
            answer(pair[0]);
        else if (key.isKeyCode(juce::KeyPress::rightKey))
            answer(pair[1]);
        else if (key.isKeyCode(juce::KeyPress::endKey))
            endEarly();
        else if (key.isKeyCode(juce::KeyPress::spaceKey) && onPlayStop)
            onPlayStop();
        else
            for (std::size_t sound = 0; sound < soundKeys.size(); ++sound)
                if (juce::CharacterFunctions::toLowerCase(key.getTextCharacter()) ==
                    static_cast<juce::juce_wchar>(soundKeys[sound]))
                    hear(static_cast<BlindSound>(sound));
        return true;
    }
    return Sheet::keyPressed(key);
}

juce::Rectangle<int> BlindSheet::pageArea() const {
    return page(760, 420);
}

void BlindSheet::paint(juce::Graphics& g) {
    const auto& p = ui::palette();
    if (running()) g.fillAll(p.paper); // nothing below may tell
    Sheet::paint(g);
    auto area = pageArea().toFloat().reduced(28.0f, 20.0f);
    ui::draw(g, "Blind comparison", area.removeFromTop(30.0f), juce::Justification::centredLeft, 18.0f, p.ink, true);
    if (!test)
        for (const char* label : {"A", "B", "asked is", "trials"})
            ui::draw(g, label, area.removeFromTop(static_cast<float>(lineHeight)).withWidth(labelWidth),
                     juce::Justification::centredLeft, 13.0f, p.ink);
    area.removeFromTop(8.0f);
    for (const auto& line : shown) {
        const float width = area.getWidth();
        const int rows = std::max(1, static_cast<int>(std::ceil(ui::width(line, 13.0f) / (width * 0.95f))));
        const auto box = area.removeFromTop(static_cast<float>(rows * textLine));
        g.setColour(p.ink);
        g.setFont(ui::font(running() && &line == &shown.front() ? 16.0f : 13.0f));
        g.drawFittedText(ui::text(line), box.toNearestInt(), juce::Justification::topLeft, rows, 1.0f);
        area.removeFromTop(3.0f);
    }
}

void BlindSheet::resized() {
    auto area = pageArea().reduced(28, 20).withTrimmedTop(30);
    auto foot = area.removeFromBottom(32);
    leave.setBounds(foot.removeFromRight(110));
    early.setBounds(leave.getBounds());
    foot.removeFromRight(8);
    begin.setBounds(foot.removeFromRight(110));
    save.setBounds(begin.getBounds());
    file.setBounds(foot.withTrimmedRight(8));
    for (auto* box : {&first, &second, &question, &trials})
        box->setBounds(area.removeFromTop(lineHeight).withTrimmedLeft(labelWidth).reduced(0, 3));
    auto keys = pageArea().reduced(28, 20).withTrimmedTop(140);
    auto line = keys.removeFromTop(56);
    int shownSounds = 0;
    for (auto& button : sounds)
        shownSounds += button.isVisible();
    for (auto& button : sounds) {
        if (!button.isVisible()) continue;
        button.setBounds(line.removeFromLeft(keys.getWidth() / std::max(1, shownSounds)).reduced(4));
    }
    keys.removeFromTop(12);
    line = keys.removeFromTop(56);
    for (auto& button : answers)
        button.setBounds(line.removeFromLeft(keys.getWidth() / 2).reduced(4));
}

} // namespace spillwright::desk
