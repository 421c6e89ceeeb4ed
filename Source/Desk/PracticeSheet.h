#pragma once

#include "Audition/OutputDevice.h"
#include "Audition/Player.h"
#include "Audition/PracticeSum.h"
#include "Core/Scene/PracticeAcoustics.h"
#include "Desk/Background.h"
#include "Desk/FloorPlan.h"
#include "Desk/LastMove.h"
#include "Desk/PairPanel.h"
#include "Desk/PlotSaver.h"
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
/// way for that of the room until leave(). Lesson files are opened by button or dropped.
class PracticeSheet : public Sheet, public juce::FileDragAndDropTarget {
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
    enum class After { silence, asBefore };   ///< asBefore: a recording that played before goes on.
    void leave(After after);                  ///< The player is given back.
    bool settled() const;                     ///< All that was asked for is shown and heard, at rest.

    void paint(juce::Graphics& g) override;
    void resized() override;
    bool keyPressed(const juce::KeyPress& key) override;
    juce::Component& firstPart() override { return choice; }
    bool isInterestedInFileDrag(const juce::StringArray& files) override;
    void filesDropped(const juce::StringArray& files, int, int) override;

    void chooseStep(int step);
    void setProjected(bool projected);
    bool take(const PracticeRoom& wanted);   ///< false: it has a fault, which is told; nothing changes.
    void openLesson(const juce::File& file); ///< One that has a fault changes nothing; the fault is told.
    void setReference(int microphone);       ///< What ratio, notch and coherence are against.
    void savePlots(const std::filesystem::path& folder) { saver.saveAll(folder); }

    const PracticeRoom& shownRoom() const { return room; }
    const PracticeReading& shownReading() const { return reading; }
    const Lesson& shownLesson() const { return lesson; }
    const std::string& toldLine() const { return told; }
    std::string shownTitle() const; ///< Of the step, or that the room is one's own.
    std::string belowLine() const;  ///< What is told, else how much is turned down, else the keys.
    int shownReference() const { return reference; }
    const std::vector<double>& shownCoherence() const { return coherence; }
    juce::String pageText() const { return page.getText(); }
    juce::ComboBox& lessonChoice() { return choice; }
    juce::ComboBox& soundChoice() { return sound; }
    juce::Button& stepButton(int step) { return *steps[static_cast<std::size_t>(step)]; }
    juce::Button& answerButton() { return answer; }
    FloorPlan& floorPlan() { return plan; }
    PlotView& combPlot() { return comb; }
    PlotView& impulsePlot() { return impulse; }
    juce::Button& backButton() { return back; }
    juce::Button& referenceButton() { return referee; }
    StepField& delayField(int microphone) { return rows[static_cast<std::size_t>(microphone)]->delay.editor; }
    StepField& heightField(int which) { return heightOf(which).editor; } ///< FloorPlan::theSource, or a microphone.
    StepField& panField(int microphone) { return rows[static_cast<std::size_t>(microphone)]->pan.editor; }
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
        NumberField height, delay, gain, highPass, pan;
        std::array<NumberField*, 5> fields() { return {&height, &delay, &gain, &highPass, &pan}; }
        Explained<SmallButton> flip{"Flip", "flip"}, mute{"Mute", "mute"};
    };
    /// Everything, in a size of its own.
    struct Board : juce::Component {
        explicit Board(PracticeSheet& s) : sheet(s) {}
        void paint(juce::Graphics& g) override { sheet.paintBoard(g); }
        PracticeSheet& sheet;
    };

    static constexpr int mostSteps = 10; ///< Keys 1 to 9 and 0.
    static constexpr float projectorScale = 1.5f, projectorThick = 1.7f;
    static constexpr std::array surfaceWords{"left", "right", "lower", "upper", "floor", "ceiling"};

    juce::Rectangle<int> pageArea() const override { return getLocalBounds(); }
    void makeTop();
    void makeRow(int microphone);
    void makeRoomFields();
    void makeHeight(int which);
    NumberField& heightOf(int which) {
        return which == FloorPlan::theSource ? sourceHeight : rows[static_cast<std::size_t>(which)]->height;
    }
    void wire(NumberField& field, const std::string& title);
    void takeTyped(NumberField& field);
    void chooseLesson();
    void show(Lesson chosen);
    void askForLesson();
    void chooseSound();
    void playOrStop();
    void tell(const std::string& words, bool wrong = true);
    void read(const juce::String& title, const LinesSheet::Words& words);
    bool own() const; ///< The room is no longer the step's.
    void moveTo(int which, Point place);
    void fill();     ///< The fields, from the room.
    void fillPage(); ///< The lesson's words.
    void reckon();   ///< With the hand; at rest follows.
    void showReading(const PracticeResponses& responses);
    Plot titled(Plot plot) const;
    void layOut();
    void layOutProjected(juce::Rectangle<int> area);
    void layOutFields(juce::Rectangle<int> area);
    void placeSteps(juce::Rectangle<int> row);
    void placeLevel(juce::Rectangle<int>& row);
    int numbersHeight() const;
    void paintBoard(juce::Graphics& g);
    void paintFields(juce::Graphics& g);
    void paintNumbers(juce::Graphics& g);
    std::string nameOf(std::size_t microphone) const; ///< With its number, and its pan where it has one.
    std::size_t shownMicrophones() const { return room.microphones.size(); }

    Controller& controller;
    Player& player;
    OutputDevice* device;
    const bool playedBefore; ///< The recording.
    std::vector<LessonEntry> entries;
    Lesson lesson;
    int shownEntry = -1, shownStep = 0, reference = 0;
    bool answered = false, projected = false, left = false;
    std::string told;
    bool toldWrong = false;

    PracticeRoom room;
    PracticeReading reading;
    std::vector<double> coherence; ///< In the low-mids, of each microphone and the reference; empty until at rest.
    bool behind = false;           ///< The room has changed while the acoustics were at work.
    bool begins = true;            ///< A step has been chosen and is not heard yet.
    bool rested = false;
    double changedAt = 0.0; ///< Seconds.
    LastMove move;

    Board board{*this};
    juce::ComboBox choice, sound;
    std::vector<std::unique_ptr<juce::TextButton>> steps;
    juce::TextEditor page;
    Explained<juce::TextButton> answer{"Show the answer"}, play{"Play"}, projector{"Projector view"},
        leaveButton{"Close"}, openButton{"Open..."}, back{"Back"};
    SmallButton quieter{"Output quieter", "-"}, louder{"Output louder", "+"};
    Explained<SmallButton> referee{"Reference", "to 1"};
    FloorPlan plan;
    PlotView comb{"Comb response of the sum"}, impulse{"Impulse response of the sum"};
    std::vector<std::unique_ptr<Row>> rows; ///< As many as there may be microphones.
    NumberField temperature, sourceHeight;
    std::array<NumberField, surfaces> absorption;
    juce::Rectangle<int> numbers, stepTitle, toldArea, levelArea;
    PlotSaver saver{{&comb, &impulse},
                    [this] { return "'" + lesson.title + "'"; },
                    [this](const std::string& words, bool wrong) { tell(words, wrong); }};
    std::unique_ptr<juce::FileChooser> chooser;

    std::shared_ptr<PracticeSum> heard;
    PracticeAcoustics acoustics;
    Background resting, loading; // they go first: they use what stands above
};

} // namespace spillwright::desk
