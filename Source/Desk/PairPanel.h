#pragma once

#include "Desk/Controller.h"
#include "Desk/Words.h"

#include "Core/Measure/PairReading.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <optional>
#include <string>
#include <vector>

namespace spillwright::desk {

/// The chosen pair: in words, and as three plots.
class PairPanel : public juce::Component {
public:
    explicit PairPanel(Controller& controller);

    void changed(unsigned what);
    void paint(juce::Graphics& g) override;
    void resized() override;

    /// Lag of a place in the lag plot.
    Seconds lagAt(float x) const;
    float placeOfLag(Seconds lag) const;
    juce::Component& lagPlot() { return lag; }
    /// What stands beside a peak of the lag plot: of the arrival first, then of runner-ups, none over another.
    struct LagLabel {
        std::string words;
        juce::Point<float> tip; ///< Of the peak, in the plot.
        juce::Rectangle<float> area;
        bool runnerUp = false;
    };
    std::vector<LagLabel> lagLabels() const;
    static constexpr int mostRunnerUps = 3;

private:
    struct CombPlot : juce::Component {
        explicit CombPlot(PairPanel& p) : panel(p) {}
        void paint(juce::Graphics& g) override;
        PairPanel& panel;
    };
    struct CoherencePlot : juce::Component {
        explicit CoherencePlot(PairPanel& p) : panel(p) {}
        void paint(juce::Graphics& g) override;
        PairPanel& panel;
    };
    /// The correlation as it is heard now; dragging moves the second track in time, and stays at 0 near it.
    struct LagPlot : juce::Component {
        explicit LagPlot(PairPanel& p);
        void paint(juce::Graphics& g) override;
        void mouseDown(const juce::MouseEvent& event) override;
        void mouseDrag(const juce::MouseEvent& event) override;
        void mouseUp(const juce::MouseEvent&) override;
        PairPanel& panel;
        Seconds nudgeBefore;
    };

    void readRecorded();      ///< What only depends on the pair.
    void readNow();           ///< What depends on the setting.
    Seconds shiftNow() const; ///< How much later the second track is played than the first.
    int signNow() const;
    float placeOfHeight(double height) const; ///< Of a value of the correlation, in the lag plot.

    Controller& controller;
    int first = -1, second = -1;
    words::PairWords told;
    std::optional<FrequencyCurve> combRecorded, combNow;
    std::optional<CoherenceCurve> coherence;
    std::optional<CorrelationCurve> correlation;
    double tallest = 1.0;             ///< Largest magnitude of the correlation.
    Seconds span = milliseconds(5.0); ///< The lag plot shows -span..+span.

    CombPlot comb;
    CoherencePlot coherencePlot;
    LagPlot lag;
};

} // namespace spillwright::desk
