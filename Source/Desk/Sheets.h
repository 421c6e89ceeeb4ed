#pragma once

#include "Desk/Controller.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <functional>
#include <memory>
#include <utility>
#include <vector>

namespace spillwright::desk {

/// Something laid over the window, which stays where it was below. Esc or a click beside it closes it.
class Sheet : public juce::Component {
public:
    std::function<void()> onClose;
    void paint(juce::Graphics& g) override;
    void mouseDown(const juce::MouseEvent& event) override;
    bool keyPressed(const juce::KeyPress& key) override;
    /// What the keyboard goes to when the sheet is shown.
    virtual juce::Component& firstPart() { return *this; }
    Sheet* readSheet() { return over.get(); } ///< What lies over it, to be read.

protected:
    explicit Sheet(const juce::String& title);
    /// Lays words over the part, which may be this sheet; they lead back to it, and have the keys meanwhile.
    void readOver(juce::Component& part, const juce::String& title,
                  const std::vector<std::pair<std::string, bool>>& words);
    juce::Rectangle<int> page(int width, int height) const;
    virtual juce::Rectangle<int> pageArea() const = 0;
    std::unique_ptr<Sheet> over;
};

/// Up, Down, Page up, Page down, Space, Home, End; false: another key.
bool scrolledByKey(juce::Viewport& viewport, const juce::KeyPress& key);

/// Lines under headings, to be scrolled through with wheel or keys.
class LinesSheet : public Sheet {
public:
    /// true: a heading.
    using Words = std::vector<std::pair<std::string, bool>>;
    LinesSheet(const juce::String& title, const Words& words);
    void paint(juce::Graphics& g) override;
    void resized() override;
    bool keyPressed(const juce::KeyPress& key) override;
    juce::Viewport& list() { return viewport; }
    /// A button beside the title that leads on.
    void leadOn(const juce::String& words, std::function<void()> onClick);
    juce::Button& leadButton() { return lead; }

private:
    /// The lines, each wrapped to the width that there is.
    struct Lines : juce::Component {
        void paint(juce::Graphics& g) override;
        static constexpr float gutter = 18.0f, gap = 9.0f;
        void layOut(int width);                           ///< Takes the height that it needs.
        std::vector<std::pair<juce::String, bool>> words; ///< true: a heading.
        std::vector<juce::TextLayout> layouts;
    };
    static constexpr int sheetWidth = 880, titleHeight = 36, border = 18;
    juce::Rectangle<int> pageArea() const override;

    Lines lines;
    juce::Viewport viewport;
    juce::TextButton lead;
};

/// Every remark on the recording, and on the loop or the source that is read alone.
LinesSheet::Words remarkLines(const Remarks& remarks);

/// Which track stands close to what: a row a track, to be chosen from; a source's name is typed. Every choice counts at
/// once: the sources are heard anew.
class StandingSheet : public Sheet {
public:
    explicit StandingSheet(Controller& controller);
    ~StandingSheet() override;
    void paint(juce::Graphics& g) override;
    void resized() override;
    juce::Component& firstPart() override;
    /// To be told of what changed in the controller.
    void changed(unsigned what);
    juce::ComboBox& choice(int track);      ///< Where the track stands.
    juce::TextEditor& nameField(int track); ///< Of the source that the track is the first close one of.
    juce::Button& guessButton() { return guess; }

private:
    struct Row;
    juce::Rectangle<int> pageArea() const override;
    void fill();
    void take(int track, int chosenId);

    static constexpr int rowHeight = 30, headHeight = 92, footHeight = 44;
    Controller& controller;
    juce::Viewport viewport;
    juce::Component list;
    std::vector<std::unique_ptr<Row>> rows;
    juce::TextButton guess{"Guess again"}, leave{"Close"};
};

/// Where to, and how, the setting that is heard is rendered.
/// Stays until the first of it is written; what stands in the way is said in it.
class RenderSheet : public Sheet {
public:
    explicit RenderSheet(Controller& controller);
    void paint(juce::Graphics& g) override;
    void resized() override;
    bool keyPressed(const juce::KeyPress& key) override;
    juce::Component& firstPart() override { return folder; }
    juce::TextEditor& folderField() { return folder; }
    juce::Button& goButton() { return go; }
    juce::Button& sumsButton() { return withSums; }
    juce::Button& notesButton() { return withNotes; }
    const std::string& wrongWords() const { return wrong; }
    void follow(); ///< [30 times a second] Closes once it is under way.

private:
    juce::Rectangle<int> pageArea() const override;
    void choose();
    void start();
    void leaveOrStop(); ///< Stops what was started; the sheet closes once it has.
    void refuse(const std::string& why);
    juce::Rectangle<int> wrongArea() const;

    Controller& controller;
    bool started = false;
    std::string wrong;
    juce::TextEditor folder;
    juce::TextButton chooseButton{"Choose..."}, go{"Render"}, leave{"Cancel"};
    juce::ToggleButton bits16{"16 bit"}, bits24{"24 bit"}, float32{"32 bit float"};
    juce::ToggleButton withSum{"also the stereo sum, beside the folder"},
        withSums{"also the sums of all versions, equally loud"},
        withNotes{"also a text with the setting and checksums"}, replace{"replace files that are there"};
    std::unique_ptr<juce::FileChooser> chooser;
};

} // namespace spillwright::desk
