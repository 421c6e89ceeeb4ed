#include "DeskFixture.h"

#include "Desk/TermsSheet.h"
#include "Desk/Words.h"
#include "Support/SpillingBand.h"
#include "Support/TestSignals.h"

#include <cmath>

using namespace spillwright;
using namespace spillwright::desk;
using namespace spillwright::test;

namespace {

/// The window on the spilling band, its sources heard.
struct SpillWindow : BandWindow {
    SpillWindow() : BandWindow(spillingBand::write) { REQUIRE(heard()); }
    bool heard() {
        return waitFor(controller(), [this] { return controller().withSources() && !controller().hearingSources(); });
    }
    juce::Point<float> middleOf(SpillView::Cell cell) { return main.spillView().cellArea(cell).getCentre(); }
};

constexpr int kick = 0, trumpet = 1, ride = 2;
constexpr int kickIn = 0, trumpetTrack = 2, rideTrack = 3, farTrack = 4, deadTrack = 5;

} // namespace

TEST_CASE("the sources are heard by themselves after measuring, and each track tells its spill", "[long]") {
    SpillWindow window;
    auto& controller = window.controller();
    REQUIRE(controller.sourceCount() == 3);
    CHECK(controller.sourceName(ride) == "ride");
    CHECK(controller.spillShare(farTrack) == 1.0);
    CHECK(*controller.spillShare(kickIn) < 0.02);
    CHECK_FALSE(controller.spillShare(deadTrack));
    const auto* reading = controller.spill(ride, trumpetTrack);
    REQUIRE(reading);
    REQUIRE(reading->level);
    CHECK(reading->level->value == Approx(-8.4).margin(0.3));
    CHECK_FALSE(controller.spill(ride, deadTrack));
    const auto words = words::cell(controller, ride, trumpetTrack);
    CHECK(words.find("ride in trumpet: \u22128.") == 0);
    CHECK(words.find("3.00") != std::string::npos);
    CHECK(words.find("same way up") != std::string::npos);
    CHECK(controller.leading().size() > 0);
}

TEST_CASE("a source that is called after a track is called as that one is shown") {
    SpillWindow window;
    auto& controller = window.controller();
    REQUIRE(controller.sourceName(ride) == "ride");
    controller.renameTrack(rideTrack, "the big cymbal");
    CHECK(controller.shownSourceName(ride) == "the big cymbal");
    CHECK(controller.sourceName(ride) == "ride"); // files and sessions know it by this
    CHECK(words::cell(controller, ride, trumpetTrack).find("the big cymbal in trumpet: ") == 0);
    controller.undo();
    CHECK(controller.shownSourceName(ride) == "ride");
}

TEST_CASE("a click in the pair's head hears its two tracks alone, and all again") {
    SpillWindow window;
    auto& controller = window.controller();
    controller.selectPair(trumpetTrack, rideTrack);
    auto& hear = window.main.pairPanel().hearButton();
    hear.onClick();
    CHECK(controller.pairSoloed());
    CHECK(controller.solo()[trumpetTrack]);
    CHECK(controller.solo()[rideTrack]);
    CHECK_FALSE(controller.solo()[kickIn]);
    CHECK(hear.getToggleState());
    CHECK_FALSE(controller.canUndo()); // it is for listening
    CHECK(window.key('i', 0, juce::ModifierKeys::altModifier));
    CHECK_FALSE(controller.pairSoloed());
    CHECK(controller.solo() == std::vector<bool>(controller.solo().size(), false));
}

TEST_CASE("the map takes the grid's place and every cell belongs to what is drawn there") {
    SpillWindow window;
    auto& map = window.main.spillView();
    CHECK_FALSE(map.isVisible());
    CHECK(window.typed('e'));
    CHECK(map.isVisible());
    CHECK_FALSE(window.main.gridView().isVisible());
    for (int track = 0; track < 6; ++track)
        for (int source = 0; source < 3; ++source) {
            const SpillView::Cell cell{track, source};
            CHECK(map.cellAt(window.middleOf(cell)) == cell);
            CHECK(map.getLocalBounds().toFloat().contains(map.cellArea(cell)));
        }
    CHECK_FALSE(map.cellAt({2.0f, 2.0f}));
    CHECK(SpillView::sizeOf(Decibels(0.0)) == 1.0f);
    CHECK(SpillView::sizeOf(Decibels(-8.0)) > SpillView::sizeOf(Decibels(-20.0)));
    CHECK(SpillView::sizeOf(Decibels(-50.0)) == SpillView::sizeOf(SpillView::faintest));
    CHECK(SpillView::tickOf(milliseconds(3.0)) > SpillView::tickOf(milliseconds(0.0)));

    // The cell of the ride in the trumpet holds a disc, that of the trumpet in the kick's track next to nothing.
    const auto picture = map.createComponentSnapshot(map.getLocalBounds(), true, 2.0f);
    const auto inkIn = [&](SpillView::Cell cell) {
        const auto area = (map.cellArea(cell).withTrimmedBottom(5.0f) * 2.0f).reduced(8.0f, 4.0f).toNearestInt();
        int dark = 0;
        for (int y = area.getY(); y < area.getBottom(); ++y)
            for (int x = area.getX(); x < area.getRight(); ++x)
                dark += picture.getPixelAt(x, y).getBrightness() < 0.5f;
        return dark;
    };
    CHECK(inkIn({trumpetTrack, ride}) > 40);
    CHECK(inkIn({kickIn, trumpet}) < 20);
    CHECK(window.typed('e'));
    CHECK(window.main.gridView().isVisible());
}

TEST_CASE("a click on a cell plays that track alone where the source leads, and another click gives all back") {
    SpillWindow window;
    auto& controller = window.controller();
    window.typed('e');
    auto& map = window.main.spillView();
    const std::int64_t from = window.player.loopFrom(), to = window.player.loopTo();
    controller.toggleSolo(rideTrack);
    const auto soloBefore = controller.solo();

    click(map, window.middleOf({trumpetTrack, ride}));
    REQUIRE(window.main.heardCell() == SpillView::Cell{trumpetTrack, ride});
    CHECK(controller.selectedTrack() == trumpetTrack);
    CHECK(controller.chosenSource() == ride);
    std::vector<bool> alone(6, false);
    alone[trumpetTrack] = true;
    CHECK(controller.solo() == alone);
    CHECK(window.player.playing());
    const auto moments = controller.leading();
    REQUIRE_FALSE(moments.empty());
    CHECK(static_cast<double>(window.player.loopFrom()) == Approx(moments.front().from.value * 48000.0).margin(1.0));
    CHECK(static_cast<double>(window.player.loopTo()) == Approx(moments.front().to.value * 48000.0).margin(1.0));
    if (moments.size() > 1) {
        CHECK(window.typed('j'));
        CHECK(static_cast<double>(window.player.loopFrom()) == Approx(moments[1].from.value * 48000.0).margin(1.0));
    }
    // From one cell to the next: what is given back is what was before the first.
    click(map, window.middleOf({farTrack, ride}));
    CHECK(window.main.heardCell() == SpillView::Cell{farTrack, ride});
    click(map, window.middleOf({farTrack, ride}));
    CHECK_FALSE(window.main.heardCell());
    CHECK(controller.solo() == soloBefore);
    CHECK(window.player.loopFrom() == from);
    CHECK(window.player.loopTo() == to);
    CHECK_FALSE(window.player.playing());

    // Nor does it go on where nothing shows it.
    click(map, window.middleOf({trumpetTrack, ride}));
    REQUIRE(window.main.heardCell());
    window.typed('e');
    CHECK_FALSE(window.main.heardCell());
    CHECK(controller.solo() == soloBefore);
    window.typed('e');

    click(map, window.middleOf({deadTrack, ride})); // nothing to hear there
    CHECK_FALSE(window.main.heardCell());
    CHECK(window.typed('i')); // the chosen track and source, by key: the dead one stays unheard
    CHECK_FALSE(window.main.heardCell());
}

TEST_CASE("the spill of a source is heard in every track but its own, and its key gives back what was soloed") {
    SpillWindow window;
    auto& controller = window.controller();
    controller.toggleSolo(rideTrack);
    const auto before = controller.solo();
    controller.chooseSource(kick);
    const auto spill = [&] { return window.key('o', 0, juce::ModifierKeys::altModifier); };
    CHECK(spill());
    CHECK(controller.spillSoloed());
    for (int track = 0; track < controller.trackCount(); ++track)
        CHECK(controller.solo()[static_cast<std::size_t>(track)] ==
              (sourceOf(controller.withSources()->sources->map.plan, track) != kick));
    CHECK_FALSE(controller.solo()[kickIn]);
    CHECK(spill());
    CHECK_FALSE(controller.spillSoloed());
    CHECK(controller.solo() == before);
    CHECK(spill());
    controller.chooseSource(ride); // the button says whose spill it is
    for (int track = 0; track < controller.trackCount(); ++track)
        CHECK(controller.solo()[static_cast<std::size_t>(track)] ==
              (sourceOf(controller.withSources()->sources->map.plan, track) != ride));
    // What is heard of the map instead gives back what was before the spill.
    controller.selectTrack(farTrack);
    window.typed('i');
    REQUIRE(window.main.heardCell());
    CHECK(window.main.spillView().isVisible());
    window.typed('i');
    CHECK_FALSE(controller.spillSoloed());
    CHECK(controller.solo() == before);
    CHECK(spill());
    controller.toggleSolo(kickIn); // by hand: nothing is given back any more
    CHECK_FALSE(controller.spillSoloed());
}

TEST_CASE("a source is heard alone as one track hears it, or as all do, and the words say so") {
    SpillWindow window;
    auto& controller = window.controller();
    window.typed('e');
    auto& map = window.main.spillView();
    const std::int64_t from = window.player.loopFrom(), to = window.player.loopTo();
    const auto computed = [&] { return waitFor(controller, [&] { return !controller.computingAlone(); }); };
    controller.selectTrack(trumpetTrack);
    controller.chooseSource(ride);
    CHECK(window.typed('u'));
    CHECK(window.main.heardCell() == SpillView::Cell{trumpetTrack, ride});
    CHECK(map.heardWords().find("Computing ride alone as trumpet hears it: ") == 0);
    CHECK(window.player.playing());
    REQUIRE(computed());
    REQUIRE(controller.alone());

    // Within the band, the ride as it was mixed into the trumpet's track.
    const auto& heard = controller.alone()->tracks[trumpetTrack];
    REQUIRE(std::ssize(heard) > window.player.loopTo() - window.player.loopFrom());
    CHECK(controller.alone()->tracks[rideTrack].empty());
    const auto band = [](const std::vector<float>& sound) {
        return filtered(sound, 48000.0, [](double hertz) { return hertz > 200.0 && hertz < 6000.0 ? 1.0 : 0.0; });
    };
    const auto played = spillingBand::player(3);
    std::vector<float> truth;
    for (std::int64_t n = 0; n < std::ssize(heard); ++n) {
        const auto place = controller.alone()->from + n - spillingBand::rideInTrumpetLate;
        truth.push_back(place >= 0 && place < std::ssize(played)
                            ? spillingBand::rideInTrumpet * played[static_cast<std::size_t>(place)]
                            : 0.0f);
    }
    const auto a = band(heard), b = band(truth);
    double error = 0.0, power = 0.0;
    for (std::int64_t n = window.player.loopFrom(); n < window.player.loopTo(); ++n) {
        const auto place = static_cast<std::size_t>(n - controller.alone()->from);
        error += std::pow(static_cast<double>(a[place] - b[place]), 2);
        power += std::pow(static_cast<double>(b[place]), 2);
    }
    CHECK(10.0 * std::log10(error / power) < -20.0);

    CHECK(window.typed('y')); // from there to all tracks
    REQUIRE(computed());
    REQUIRE(controller.alone());
    CHECK_FALSE(controller.alone()->tracks[rideTrack].empty());
    CHECK_FALSE(controller.alone()->tracks[trumpetTrack].empty());
    CHECK(controller.alone()->tracks[deadTrack].empty());
    CHECK(controller.solo() == std::vector<bool>(6, false));
    CHECK(window.typed('y'));
    CHECK_FALSE(window.main.heardCell());
    CHECK_FALSE(controller.alone());
    CHECK(map.heardWords().empty());
    CHECK(window.player.loopFrom() == from);
    CHECK(window.player.loopTo() == to);
    CHECK_FALSE(window.player.playing());

    // Pressed again before it is there, and where the source cannot be told.
    CHECK(window.typed('u'));
    CHECK(window.typed('u'));
    REQUIRE(computed());
    CHECK_FALSE(controller.alone());
    CHECK_FALSE(window.main.heardCell());
    controller.selectTrack(kickIn);
    controller.chooseSource(trumpet);
    REQUIRE_FALSE(controller.spill(trumpet, kickIn)->level);
    CHECK(window.typed('u'));
    CHECK_FALSE(window.main.heardCell());
    REQUIRE(controller.notice());
    CHECK(controller.notice()->text == "trumpet cannot be told in kick in: it cannot be heard alone there.");
}

TEST_CASE("in focus every reading is that of one source, proposals too, until it is left") {
    SpillWindow window;
    auto& controller = window.controller();
    const auto whole = *controller.reading(trumpetTrack, rideTrack);
    controller.setFocus(ride);
    REQUIRE(waitFor(controller, [&] { return controller.focused().has_value(); }));
    CHECK(controller.focused() == ride);
    CHECK(words::reads(controller) == "reads ride alone");
    const auto* pair = controller.reading(trumpetTrack, rideTrack);
    REQUIRE(pair);
    REQUIRE(pair->arrival);
    CHECK(pair->arrival->delay.value * 48000.0 == Approx(-spillingBand::rideInTrumpetLate).margin(1.0));
    CHECK(pair->coherence > whole.coherence);
    CHECK(controller.levelDbfs(kickIn)); // still the track's own

    controller.propose();
    REQUIRE(waitUntilIdle(controller));
    REQUIRE(controller.version(VersionKind::flips));
    CHECK(controller.version(VersionKind::flips)->proposedFor == "ride");
    CHECK(controller.version(VersionKind::flips)->boundHolds);
    CHECK(window.typed('x')); // past the last source: all of them again
    CHECK_FALSE(controller.focused());
    CHECK_FALSE(controller.version(VersionKind::flips)->boundHolds);
    CHECK(words::versionProof(controller, VersionKind::flips) == "other source: P again");
    CHECK(controller.reading(trumpetTrack, rideTrack)->coherence == whole.coherence);

    CHECK(window.typed('x')); // quickly on to the second one: the newest wins
    CHECK(window.typed('x'));
    REQUIRE(waitFor(controller, [&] { return !controller.hearingSources(); }));
    CHECK(controller.focused() == trumpet);
    controller.setFocus(kick);
    REQUIRE(waitFor(controller, [&] { return !controller.hearingSources(); }));
    CHECK(controller.focused() == kick);
    CHECK(window.typed('r')); // the loop takes the focus's place
    CHECK_FALSE(controller.focused());
    CHECK(controller.readsLoop());
}

TEST_CASE("what the user says of a track's place is heard at once, and kept for the folder", "[long]") {
    TemporaryFolder choices, folder;
    spillingBand::write(folder.path());
    const auto opened = [&](Controller& controller) {
        controller.openFolder(folder.path());
        return waitUntilIdle(controller) &&
               waitFor(controller, [&] { return controller.withSources() && !controller.hearingSources(); });
    };
    const auto settle = [](Controller& controller) {
        return waitFor(controller, [&] { return !controller.hearingSources(); });
    };
    {
        Controller controller(2, {}, choices.path());
        REQUIRE(opened(controller));
        CHECK(controller.withSources()->sources->guessed);
        controller.standFar(rideTrack);
        REQUIRE(settle(controller));
        CHECK(controller.sourceCount() == 2);
        CHECK(controller.spillShare(rideTrack) == 1.0);
        controller.standAlone(farTrack);
        REQUIRE(settle(controller));
        CHECK(controller.sourceCount() == 3);
        controller.standCloseTo(farTrack, trumpet);
        REQUIRE(settle(controller));
        CHECK(controller.sourceCount() == 2);
        controller.renameSource(trumpet, "brass");
        REQUIRE(settle(controller));
        CHECK(controller.sourceName(trumpet) == "brass");
        controller.renameSource(trumpet, "kick"); // another's
        REQUIRE(controller.notice());
        CHECK(controller.notice()->fault);
        CHECK(controller.sourceName(trumpet) == "brass");
    }
    {
        Controller controller(2, {}, choices.path());
        REQUIRE(opened(controller));
        CHECK_FALSE(controller.withSources()->sources->guessed);
        CHECK(controller.sourceName(trumpet) == "brass");
        CHECK(controller.withSources()->sources->map.plan.sources[trumpet].closeTracks ==
              std::vector<int>{trumpetTrack, farTrack});
        controller.guessSources();
        REQUIRE(settle(controller));
        CHECK(controller.sourceName(trumpet) == "trumpet");
        CHECK(std::filesystem::is_empty(choices.path()));
    }
}

TEST_CASE("the sheet of what stands close to what shows the guess and takes another") {
    SpillWindow window;
    auto& controller = window.controller();
    CHECK(window.typed('d'));
    auto* sheet = dynamic_cast<StandingSheet*>(window.main.sheet());
    REQUIRE(sheet);
    CHECK(sheet->choice(rideTrack).getText() == "close to ride");
    CHECK(sheet->choice(farTrack).getText() == "close to none: room, overhead");
    CHECK_FALSE(sheet->choice(deadTrack).isEnabled());
    CHECK(sheet->nameField(rideTrack).isVisible());
    CHECK_FALSE(sheet->nameField(farTrack).isVisible());
    CHECK_FALSE(sheet->guessButton().isEnabled());

    sheet->nameField(rideTrack).setText("cymbal");
    sheet->nameField(rideTrack).onReturnKey();
    REQUIRE(window.heard());
    CHECK(sheet->choice(rideTrack).getText() == "close to cymbal");
    sheet->choice(rideTrack).setSelectedId(1, juce::sendNotificationSync); // close to none
    REQUIRE(window.heard());
    CHECK(controller.sourceCount() == 2);
    CHECK(sheet->choice(rideTrack).getText() == "close to none: room, overhead");
    CHECK(sheet->guessButton().isEnabled());
    sheet->guessButton().onClick();
    REQUIRE(window.heard());
    CHECK(controller.sourceCount() == 3);
    CHECK(sheet->keyPressed(juce::KeyPress(juce::KeyPress::escapeKey)));
    CHECK_FALSE(window.main.sheet());
}

TEST_CASE("proposals serve the sources where the sheet of terms says so, and tell what each gains", "[long]") {
    SpillWindow window;
    auto& controller = window.controller();
    CHECK(window.typed('v'));
    auto* sheet = dynamic_cast<TermsSheet*>(window.main.sheet());
    REQUIRE(sheet);
    CHECK(sheet->groupChoice(kickIn).getText() == "by itself");
    CHECK(sheet->largestChoice(trumpetTrack).getText() == "as far as the card says");
    CHECK_FALSE(sheet->groupChoice(deadTrack).isEnabled());
    const auto recorded = controller.adjustments();
    sheet->equallyLoudButton().onClick();
    CHECK(controller.adjustments()[trumpetTrack].gain.value != recorded[trumpetTrack].gain.value);
    controller.undo();
    CHECK(controller.adjustments() == recorded);
    sheet->servesChoice().setSelectedId(3, juce::sendNotificationSync); // the one that fares worst
    sheet->sumChoice().setSelectedId(2, juce::sendNotificationSync);    // stereo
    sheet->groupChoice(kickIn).setSelectedId(2, juce::sendNotificationSync);
    sheet->groupChoice(trumpetTrack).setSelectedId(2, juce::sendNotificationSync);
    sheet->largestChoice(rideTrack).setSelectedId(3, juce::sendNotificationSync);
    CHECK(controller.terms().aim == Aim::worst);
    CHECK(controller.terms().stereo);
    CHECK(controller.terms().group[kickIn] == controller.terms().group[trumpetTrack]);
    CHECK(controller.terms().group[rideTrack] == 0);
    CHECK(controller.terms().largest[rideTrack] == milliseconds(0.1));
    sheet->proposeButton().onClick();
    CHECK_FALSE(window.main.sheet());
    REQUIRE(waitUntilIdle(controller));
    const auto& version = controller.version(VersionKind::nudgesTo10ms);
    REQUIRE(version);
    CHECK(version->flips[kickIn] == version->flips[trumpetTrack]);
    CHECK(std::abs(version->nudges[rideTrack].value) <= 0.0001 + 1e-9);
    CHECK(version->boundHolds);
    CHECK(words::versionChanges(controller, VersionKind::flips).find("for the worst source: ") == 0);

    auto terms = controller.terms();
    terms = {};
    controller.setTerms(terms);
    controller.propose();
    REQUIRE(waitUntilIdle(controller));
    CHECK(controller.version(VersionKind::flips)->words.find("Of the sources, ") != std::string::npos);
}

TEST_CASE("order of entry, help and spacing are there to be read") {
    SpillWindow window;
    window.controller().chooseSource(kick);
    CHECK(window.typed('o'));
    auto* sheet = dynamic_cast<LinesSheet*>(window.main.sheet());
    REQUIRE(sheet);
    const auto text = sheet->getDescription();
    CHECK(text.contains("far: 100 % spill"));
    CHECK(text.contains("who can help the close track of kick"));
    CHECK(text.contains("flipped"));
    CHECK(text.contains("far hears trumpet 25 ms late"));
}
