#pragma once

#include "Desk/Commands.h"
#include "Desk/Controller.h"
#include "Desk/GridView.h"
#include "Desk/KeyButton.h"
#include "Desk/Look.h"
#include "Desk/ManualSheet.h"
#include "Desk/NoticeBar.h"
#include "Desk/OfferBar.h"
#include "Desk/PairPanel.h"
#include "Desk/Preferences.h"
#include "Desk/Sheets.h"
#include "Desk/SpillView.h"
#include "Desk/TrackPanel.h"
#include "Desk/TransportBar.h"
#include "Desk/VersionRow.h"

#include "Audition/Player.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <memory>
#include <vector>

namespace spillwright::desk {

/// The content of the window. Holds no decision of its own: it lays out the panels, gives keys and drops to the
/// controller, and hands the setting on to the player.
class MainComponent : public juce::Component, public juce::FileDragAndDropTarget, private juce::Timer {
public:
    struct Parts {
        Controller& controller;
        Player& player;
        OutputDevice* device = nullptr; ///< nullptr: silent.
        Preferences& preferences;
        Autosave* autosave = nullptr; ///< nullptr: nothing is kept.
    };
    explicit MainComponent(const Parts& parts);
    ~MainComponent() override;

    void perform(CommandId id);
    /// A session file, else a folder of tracks.
    void open(const juce::File& folderOrSession);
    void openFolder(const juce::File& folder);
    void openDemo();
    /// Beside the recording that is open and measured; else nothing.
    void compareWith(const juce::File& folder);
    /// Where the choice of another take begins: at the last one; where that is compared now, or there was none of this
    /// recording, in the folder around.
    juce::File whereTakesAre() const;
    void setDark(bool dark);
    /// Nothing is at work and everything that can be shown is shown.
    bool settled() const;
    /// The recording and how far it is: "Lantern Hall (measured) – Spillwright".
    juce::String windowTitle() const;

    TrackPanel& trackPanel() { return tracks; }
    GridView& gridView() { return grid; }
    SpillView& spillView() { return spill; }
    /// What is heard of the map; none: the sum.
    std::optional<SpillView::Cell> heardCell() const;
    PairPanel& pairPanel() { return pair; }
    VersionRow& versionRow() { return versions; }
    OfferBar& offerBar() { return offer; }
    TransportBar& transportBar() { return transport; }
    Sheet* sheet() { return openSheet.get(); }
    NoticeBar& noticeBar() { return noticeLine; }

    /// Whether the key of the sweep is still down; tests have a key of their own.
    std::function<bool()> sweepHeld = [] { return juce::KeyPress::isKeyCurrentlyDown('z'); };
    void followSweep(double seconds); ///< [30 times a second] By a clock that only runs forwards.

    void paint(juce::Graphics& g) override;
    void resized() override;
    bool keyPressed(const juce::KeyPress& key) override;
    bool isInterestedInFileDrag(const juce::StringArray& files) override;
    void fileDragEnter(const juce::StringArray&, int, int) override;
    void fileDragExit(const juce::StringArray&) override;
    void filesDropped(const juce::StringArray& files, int, int) override;

private:
    /// What is to be done while nothing is open.
    class StartPage : public juce::Component {
    public:
        explicit StartPage(MainComponent& main);
        void refresh();
        void paint(juce::Graphics& g) override;
        void resized() override;

    private:
        MainComponent& main;
        juce::TextButton open{"Open a folder"}, demo{"Open the demo"}, practice{"Practice room"};
        std::vector<std::unique_ptr<juce::TextButton>> recent;
    };

    void timerCallback() override;
    void changed(unsigned what);
    void chooseWhatToOpen();
    void chooseRecording();
    void chooseOtherTake();
    void save();
    void saveAs();
    void saveReport();
    void followSession();
    void showTitle();
    void show(std::unique_ptr<Sheet> sheet);
    void closeSheet();
    bool blindFold() const;
    bool heardByOther() const;
    void setScale(int percent);
    juce::PopupMenu menuOfAll();
    void showMenu();
    void showMap(bool map);
    /// What of a cell: the track where the source leads, or the source alone as that track hears it, or all do.
    enum class Heard { track, aloneInTrack, aloneInAll };
    void hear(SpillView::Cell cell, Heard what = Heard::track);
    void hearChosen(Heard what);
    void computeAlone();
    void followHearing();
    std::string heardInWords() const;
    void stopHearing();
    void startSweep();
    void listenTo(Listening::Sides sides);
    void placeLaidOver();
    bool tellsBeside() const; ///< The notice stands in the title's place.
    float nameWidth() const;

    Controller& controller;
    Player& player;
    OutputDevice* device;
    Preferences& preferences;
    Autosave* autosave;

    Look look; // before the panels, which measure text
    TrackPanel tracks;
    GridView grid;
    SpillView spill; ///< In the grid's place, when it is asked for.
    PairPanel pair;
    VersionRow versions;
    TransportBar transport;
    StartPage start;
    OfferBar offer;
    NoticeBar noticeLine;
    Explained<juce::TextButton> openButton{"Open"}, demoButton{"Demo"}, proposeButton{"Propose"},
        renderButton{"Render"}, keysButton{"?"}, menuButton{"Menu"}, settingsButton{"Settings"};
    KeyButton remarksButton{"Remarks", "Every remark on the recording"};
    juce::TextButton stopButton{"Stop"};
    ManualPlace manualPlace;
    std::unique_ptr<Sheet> openSheet;
    std::unique_ptr<juce::FileChooser> chooser;
    juce::File lastTake; ///< That this recording was compared with.
    juce::TooltipWindow tooltips{this, 500};
    /// A source heard through one track or all, and what to go back to.
    struct Hearing {
        SpillView::Cell cell;
        Heard what = Heard::track;
        StretchSpan computedFor{}; ///< The loop for which a source alone is computed.
        std::vector<bool> soloBefore;
        std::optional<Moments> loopBefore;
        bool played = false;             ///< Before it began.
        const Measurement* of = nullptr; ///< Whose sources.
    };
    std::optional<Hearing> hearing;
    Listening listeningBeforeBlind;
    struct Sweep {
        int track = 0;
        double direction = 1.0;
        std::optional<double> last; ///< Seconds, of the step before.
    };
    std::optional<Sweep> sweep;
    bool dropping = false;
    int shownPercent = -1;
    juce::String shownTitle;
    int ticks = 0;
};

} // namespace spillwright::desk
