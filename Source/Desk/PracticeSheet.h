#pragma once

#include "Audition/OutputDevice.h"
#include "Audition/Player.h"
#include "Audition/PracticeSum.h"
#include "Core/Scene/PracticeAcoustics.h"
#include "Desk/Background.h"
#include "Desk/FloorPlan.h"
#include "Desk/LastMove.h"
#include "Desk/PairPanel.h"
#include "Desk/Sheets.h"
#include "Session/Lesson.h"

#include <array>
#include <functional>
#include <memory>
#include <string>
#include <vector>

namespace spillwright::desk {

/// A number to be typed, or stepped with Up and Down.
class StepField : public juce::TextEditor {
public:
    std::function<void(int)> onStep; ///< +1 or -1.
    bool keyPressed(const juce::KeyPress& key) override;
};

/// The lessons, and the practice room that they open with: seen, heard and changed. The sound of the recording makes
/// way for that of the room until leave().
class PracticeSheet : public Sheet {
public:
    struct Parts {
        Controller& controller;
        Player& player;
        OutputDevice* device = nullptr; ///< nullptr: silent.
    };
    explicit PracticeSheet(const Parts& parts);
    ~PracticeSheet() override;

    std::function<void(CommandId)> onCommand; ///< Output level.
    std::function<void(bool)> onProjector;    ///< To show everything in Palette::projected(), or as it was.
    void follow();                            ///< [30 times a second]
    void leave();                             ///< The player is given back.
    bool settled() const;                     ///< All that was asked for is shown and heard, at rest.

    void paint(juce::Graphics& g) override;
    void resized() override;
    bool keyPressed(const juce::KeyPress& key) override;
    juce::Component& firstPart() override { return choice; }

    void chooseStep(int step);
    void setProjected(bool projected);
    bool take(const PracticeRoom& wanted); ///< false: it has a fault, which is told; nothing changes.

    const PracticeRoom& shownRoom() const { return room; }
    const PracticeReading& shownReading() const { return reading; }
    const Lesson& shownLesson() const { return lesson; }
    const std::string& toldLine() const { return told; }
    juce::String pageText() const { return page.getText(); }
    juce::ComboBox& lessonChoice() { return choice; }
    juce::ComboBox& soundChoice() { return sound; }
    juce::Button& stepButton(int step) { return *steps[static_cast<std::size_t>(step)]; }
    juce::Button& answerButton() { return answer; }
    FloorPlan& floorPlan() { return plan; }
    PlotView& combPlot() { return comb; }
    PlotView& impulsePlot() { return impulse; }
    StepField& delayField(int microphone) { return rows[static_cast<std::size_t>(microphone)]->delay.editor; }
    juce::Button& flipButton(int microphone) { return rows[static_cast<std::size_t>(microphone)]->flip; }

private:
    /// A number of the room, as it is typed.
    struct NumberField {
        StepField editor;
        std::function<std::string(const PracticeRoom&)> read;
        std::function<bool(PracticeRoom&, const std::string&)> write; ///< false: no such number.
        std::function<void(PracticeRoom&, int)> step;
        std::string mend;
    };
    struct Row {
        NumberField delay, gain, highPass;
        Explained<SmallButton> flip{"Flip", "flip"}, mute{"Mute", "mute"};
    };
    /// Everything, in a size of its own.
    struct Board : juce::Component {
        explicit Board(PracticeSheet& s) : sheet(s) {}
        void paint(juce::Graphics& g) override { sheet.paintBoard(g); }
        PracticeSheet& sheet;
    };

    juce::Rectangle<int> pageArea() const override { return getLocalBounds(); }
    void makeRow(int microphone);
    void makeRoomFields();
    void wire(NumberField& field, const std::string& title);
    void takeTyped(NumberField& field);
    void chooseLesson();
    void chooseSound();
    void playOrStop();
    void tell(const std::string& words);
    void fill();     ///< The fields, from the room.
    void fillPage(); ///< The lesson's words.
    void reckon();   ///< With the hand; at rest follows.
    void showReading(const PracticeResponses& responses);
    void layOut();
    void paintBoard(juce::Graphics& g);
    void paintNumbers(juce::Graphics& g);
    std::size_t shownMicrophones() const { return room.microphones.size(); }

    Controller& controller;
    Player& player;
    OutputDevice* device;
    std::vector<LessonEntry> entries;
    Lesson lesson;
    int shownStep = 0;
    bool answered = false, projected = false, left = false;
    std::string told;

    PracticeRoom room;
    PracticeReading reading;
    std::vector<double> coherence; ///< In the low-mids, of each microphone and the first; empty until at rest.
    bool behind = false;           ///< The room has changed while the acoustics were at work.
    bool rested = false;
    double changedAt = 0.0; ///< Seconds.
    LastMove move;

    Board board{*this};
    juce::ComboBox choice, sound;
    std::vector<std::unique_ptr<juce::TextButton>> steps;
    juce::TextEditor page;
    Explained<juce::TextButton> answer{"Show the answer"}, play{"Play"}, projector{"Projector view"},
        leaveButton{"Close"};
    SmallButton quieter{"Output quieter", "-"}, louder{"Output louder", "+"};
    FloorPlan plan;
    PlotView comb{"Comb response of the sum"}, impulse{"Impulse response of the sum"};
    std::vector<std::unique_ptr<Row>> rows; ///< As many as there may be microphones.
    NumberField temperature;
    std::array<NumberField, surfaces> absorption;
    juce::Rectangle<int> numbers, stepTitle, toldArea, levelArea;

    std::shared_ptr<PracticeSum> heard;
    PracticeAcoustics acoustics;
    Background resting, loading; // they go first: they use what stands above
};

} // namespace spillwright::desk
