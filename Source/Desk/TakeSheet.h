#pragma once

#include "Desk/Commands.h"
#include "Desk/GridView.h"
#include "Desk/OtherTake.h"
#include "Desk/Sheets.h"
#include "Desk/TakeFigures.h"
#include "Desk/TakeMatch.h"
#include "Desk/TakeVerdict.h"

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace spillwright::desk {

/// The open take and another one side by side: both grids under one cursor, what was changed between them in words,
/// the figures of the chosen pair, and either of them heard. It opens on what was changed.
class TakeSheet : public Sheet {
public:
    TakeSheet(Controller& controller, Player& player, const std::filesystem::path& folder);

    /// What is to be done as in the window: choosing with the arrows, playing, the output level.
    std::function<void(CommandId)> onCommand;
    /// Another folder is to be compared with.
    std::function<void()> onOtherFolder;

    void paint(juce::Graphics& g) override;
    void resized() override;
    bool keyPressed(const juce::KeyPress& key) override;
    void mouseDown(const juce::MouseEvent&) override {} // a click beside it must not end a comparison
    /// To be told of what changed in the controller of the open take.
    void changed(unsigned what);
    void follow(); ///< [30 times a second]

    OtherTake& otherTake() { return other; }
    const OtherTake& otherTake() const { return other; }
    GridView& grid(bool ofSecond) { return ofSecond ? secondGrid : firstGrid; }
    TakeVerdict& verdict() { return verdictLines; }
    juce::Button& otherFolderButton() { return otherFolder; }
    juce::Button& matchButton() { return matchTracks; }
    TakeMatch* matching() { return match.get(); } ///< While tracks are matched by hand.
    juce::Button& hearButton(bool theSecond) { return theSecond ? hearSecond : hearFirst; }
    std::string stateInWords() const; ///< What is at work, what is wrong, or whether something was changed.
    std::vector<TakeFigure> figures() const;

private:
    juce::Rectangle<int> pageArea() const override;
    juce::Rectangle<int> inside() const { return pageArea().reduced(20, 14); }
    juce::Rectangle<int> rightColumn() const;
    void otherChanged(unsigned what);
    void chooseInSecond();
    void pointInOther(bool fromSecond, std::optional<std::pair<int, int>> tracks);
    std::string chosenInWords() const;
    void fillVerdict();
    void noteChanges();
    void chooseFirstChange();
    /// Compared tracks; the partner none: the one of the track's pairs that changed the clearest.
    void choose(int track, std::optional<int> partner);
    void openMatching();
    void closeMatching();
    bool isTold() const { return other.comparison() && other.difference().canBeTold; }

    static constexpr int headHeight = 54, footHeight = 42, rowHeight = 20, tableHead = 44, tableRows = 8,
                         noteHeight = 18;
    Controller& controller;
    Player& player;
    OtherTake other;
    GridView firstGrid, secondGrid;
    TakeVerdict verdictLines;
    std::unique_ptr<TakeMatch> match;
    juce::TextButton hearFirst{"A"}, hearSecond{"B"}, play{"Play"}, matchTracks{"Match tracks"},
        otherFolder{"Other folder"}, leave{"Close"};
    bool following = false; ///< One grid the other.
    std::string shownState, shownHearing;
};

} // namespace spillwright::desk
