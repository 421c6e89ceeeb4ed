#pragma once

#include "Desk/Controller.h"
#include "Desk/KeyButton.h"
#include "Desk/LastMove.h"
#include "Desk/Plot.h"
#include "Desk/PlotSaver.h"
#include "Desk/Words.h"

#include "Report/PairPlots.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <array>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace spillwright::desk {

/// A small button of few words, without a key beside it.
class SmallButton : public juce::Button {
public:
    SmallButton(const juce::String& title, const juce::String& words);
    void paintButton(juce::Graphics& g, bool highlighted, bool down) override;
};

/// One plot in the window, with a button to save it; a right click anywhere on it offers the same.
class PlotView : public juce::Component {
public:
    explicit PlotView(const juce::String& title);

    void show(Plot plot);
    const Plot& plot() const { return shown; }
    juce::Rectangle<float> frame() const { return rectangleOf(layoutInWindow(getLocalBounds().toFloat()).frame); }
    std::vector<PlotLabel> labels() const;
    juce::Button& saveButton() { return save; }
    std::function<void()> onSave; ///< None: no button.

    void paint(juce::Graphics& g) override;
    void resized() override;
    void mouseDown(const juce::MouseEvent& event) override;

private:
    Plot shown;
    Explained<SmallButton> save;
};

/// The chosen pair: in words, and as three plots.
class PairPanel : public juce::Component {
public:
    explicit PairPanel(Controller& controller);

    void changed(unsigned what);
    void paint(juce::Graphics& g) override;
    void resized() override;

    /// The pair in words, for the clipboard: lines of plain text. Empty while there is none.
    std::string inWords() const;
    void copyWords(); ///< Onto the clipboard.
    /// Where copied words go; tests have a place of their own.
    std::function<void(const juce::String&)> toClipboard = juce::SystemClipboard::copyTextToClipboard;

    void askWhereToSaveAll(); ///< Asks for a folder, then saveAll.
    /// As PlotSaver does.
    void saveAll(const std::filesystem::path& folder);

    PlotView& combPlot() { return comb; }
    PlotView& lagPlot() { return lag; }
    juce::Button& copyButton() { return copy; }
    juce::Button& hearButton() { return hear; }

    /// Lag of a place in the lag plot.
    Seconds lagAt(float x) const;
    float placeOfLag(Seconds lag) const;

private:
    /// The correlation as it is heard now; dragging moves the second track in time, and stays at 0 near it.
    struct LagPlot : PlotView {
        explicit LagPlot(PairPanel& p);
        void mouseDown(const juce::MouseEvent& event) override;
        void mouseDrag(const juce::MouseEvent& event) override;
        void mouseUp(const juce::MouseEvent&) override;
        PairPanel& panel;
        Seconds nudgeBefore;
        LastMove move;
    };

    void readRecorded(); ///< What only depends on the pair.
    void readNow();      ///< What depends on the setting, but for the proposals.
    /// With its titles; `ofSetting`: it depends on the setting.
    void show(PlotView& view, Plot plot, bool ofSetting);
    Band band() const;
    Seconds span() const { return curves ? curves->span : PairCurves().span; } ///< The lag plot shows -span..+span.
    void showComb();
    void showCoherence();
    void showLag();
    /// What the best of the proposals that hold for the present balance does with the two.
    struct Best {
        VersionKind kind;
        TrackAdjustment first, second;
    };
    std::optional<Best> bestProposal() const;

    Controller& controller;
    int first = -1, second = -1;
    PairWords told;
    std::optional<PairCurves> curves;
    std::optional<NamedCurve> combNow;

    PlotView comb, coherence;
    LagPlot lag;
    Explained<SmallButton> copy, hear;
    PlotSaver saver{{&comb, &coherence, &lag},
                    [this] { return told.names; },
                    [this](const std::string& words, bool wrong) { controller.say(words, wrong); }};
};

} // namespace spillwright::desk
