#include "DeskFixture.h"

#include "Desk/Words.h"

using namespace spillwright;
using namespace spillwright::desk;
using namespace spillwright::test;

TEST_CASE("a folder is opened and measured in the background") {
    MeasuredBand band;
    CHECK(band.controller.trackCount() == 4);
    CHECK(band.controller.task() == Controller::Task::none);
    REQUIRE(band.controller.reading(0, 1));
    // Half a millisecond later, upside down, as it was written; 2 us is a tenth of a sample.
    CHECK(band.controller.reading(0, 1)->arrival->delay.value == Approx(24.0 / 48000.0).margin(2e-6));
    CHECK(band.controller.reading(1, 0) == band.controller.reading(0, 1));
    CHECK(band.controller.reading(0, 1)->polarity->polarity == Polarity::inverted);
    CHECK_FALSE(band.controller.reading(0, 3)->related);
    CHECK(words::pair(band.controller, 0, 1).sentence == "same sound 0.50 ms later, upside down");
    CHECK(words::pair(band.controller, 0, 3).sentence.find("unrelated") != std::string::npos);
}

TEST_CASE("the pair that loses most is chosen first") {
    MeasuredBand band;
    const auto* chosen = band.controller.reading(band.controller.selectedTrack(), band.controller.partnerTrack());
    REQUIRE(chosen);
    for (const auto& pair : band.controller.measurement()->pairs)
        if (pair.related) CHECK(chosen->summationGain <= pair.summationGain);
}

TEST_CASE("pair gains agree with the reading, as recorded and flipped") {
    MeasuredBand band;
    // Single precision and another order of summing: a thousandth of a dB is far below what is shown (0.1 dB).
    for (const auto& pair : band.controller.measurement()->pairs) {
        if (!pair.related) continue;
        INFO(pair.first << " " << pair.second);
        CHECK(band.controller.pairNow(pair.first, pair.second)->gainDb ==
              Approx(pair.summationGain.value).margin(1e-3));
    }
    band.controller.flip(1);
    CHECK(band.controller.pairNow(0, 1)->gainDb ==
          Approx(band.controller.reading(0, 1)->summationGainFlipped.value).margin(1e-3));
}

TEST_CASE("lining up a copy that is upside down and turning it makes the pair 3 dB louder") {
    MeasuredBand band;
    band.controller.selectPair(1, 0);
    band.controller.alignPair();
    CHECK(band.controller.adjustments()[1].nudge.value == Approx(-24.0 / 48000.0).margin(2e-6));
    band.controller.flip(1);
    // Two equal tracks in phase: 10 log10 2 = 3.01 dB. Their noise, 40 dB down and more in the band, takes 0.01 dB at
    // most.
    CHECK(band.controller.pairNow(0, 1)->gainDb == Approx(3.01).margin(0.02));
}

TEST_CASE("a flip changes the gains at once, and undo takes it back") {
    MeasuredBand band;
    auto& controller = band.controller;
    const double before = *controller.gainNowDb(), pairBefore = controller.pairNow(0, 1)->gainDb;
    controller.flip(1);
    CHECK(controller.adjustments()[1].flip);
    CHECK(*controller.gainNowDb() > before + 1.0);
    CHECK(controller.heardVersion() == VersionKind::mine);
    const double after = *controller.gainNowDb();
    controller.undo();
    CHECK_FALSE(controller.adjustments()[1].flip);
    CHECK(*controller.gainNowDb() == before);
    CHECK(controller.pairNow(0, 1)->gainDb == pairBefore);
    CHECK(controller.heardVersion() == VersionKind::asRecorded);
    controller.redo();
    CHECK(*controller.gainNowDb() == after);
    CHECK_FALSE(controller.canRedo());
}

TEST_CASE("a drag is one step of undo") {
    MeasuredBand band;
    for (int step = 1; step <= 10; ++step)
        band.controller.setNudge(2, milliseconds(0.1 * step), true);
    band.controller.endGesture();
    band.controller.setNudge(2, milliseconds(5.0), true);
    band.controller.endGesture();
    band.controller.undo();
    CHECK(band.controller.adjustments()[2].nudge.value == Approx(0.001));
    band.controller.undo();
    CHECK(band.controller.adjustments()[2].nudge.value == 0.0);
    CHECK_FALSE(band.controller.canUndo());
}

TEST_CASE("nudging there and back ends at zero") {
    MeasuredBand band;
    for (int i = 0; i < 3; ++i)
        band.controller.nudgeBy(0, milliseconds(0.1));
    for (int i = 0; i < 3; ++i)
        band.controller.nudgeBy(0, milliseconds(-0.1));
    CHECK(band.controller.adjustments()[0].nudge.value == 0.0);
}

TEST_CASE("proposals are made in the background, heard by their kind, and proven where they say so") {
    MeasuredBand band;
    auto& controller = band.controller;
    controller.hear(VersionKind::flips); // makes them first
    CHECK(controller.task() == Controller::Task::proposing);
    REQUIRE(waitUntilIdle(controller));
    REQUIRE(controller.version(VersionKind::flips));
    CHECK(controller.heardVersion() == VersionKind::flips);
    CHECK(controller.adjustments()[0].flip != controller.adjustments()[1].flip);
    CHECK(controller.version(VersionKind::flips)->gainDb == *controller.gainNowDb());
    CHECK(words::versionProof(controller, VersionKind::flips) == "proven best");

    const auto& flips = *controller.version(VersionKind::flips);
    const auto& to10 = *controller.version(VersionKind::nudgesTo10ms);
    CHECK(to10.gainDb >= flips.gainDb);
    CHECK(*to10.gapDb >= -1e-6);
    controller.hear(VersionKind::asRecorded);
    CHECK(controller.adjustments() == std::vector<TrackAdjustment>(4));
    controller.undo();
    CHECK(controller.heardVersion() == VersionKind::flips);
}

TEST_CASE("each proposal is there as soon as it is made, and one that is on its way can be asked for") {
    MeasuredBand band;
    auto& controller = band.controller;
    controller.propose();
    REQUIRE(waitFor(controller, [&] { return controller.version(VersionKind::flips).has_value(); }));
    CHECK(controller.task() == Controller::Task::proposing);
    CHECK_FALSE(controller.version(VersionKind::nudgesTo10ms));
    CHECK(controller.version(VersionKind::flips)->boundHolds);
    controller.hear(VersionKind::flips);
    controller.hear(VersionKind::nudgesTo10ms);
    CHECK(controller.heardVersion() == VersionKind::flips);
    REQUIRE(waitUntilIdle(controller));
    CHECK(controller.heardVersion() == VersionKind::nudgesTo10ms);
    controller.propose();
    controller.cancel();
    REQUIRE(waitUntilIdle(controller));
    CHECK(controller.version(VersionKind::flips)); // those from before stay
}

TEST_CASE("versions keep the user's balance, and say when a bound no longer holds") {
    MeasuredBand band;
    auto& controller = band.controller;
    controller.propose();
    REQUIRE(waitUntilIdle(controller));
    const double before = controller.version(VersionKind::flips)->gainDb;
    controller.setGain(2, Decibels(-12.0));
    CHECK(controller.version(VersionKind::flips)->gainDb != before);
    CHECK_FALSE(controller.version(VersionKind::flips)->boundHolds);
    controller.hear(VersionKind::flips);
    CHECK(controller.adjustments()[2].gain.value == -12.0);
    controller.undo();
    controller.undo();
    CHECK(controller.version(VersionKind::flips)->boundHolds);
}

TEST_CASE("what was set by hand comes back under its own key") {
    MeasuredBand band;
    band.controller.setNudge(1, milliseconds(-0.5));
    band.controller.hear(VersionKind::asRecorded);
    CHECK(band.controller.adjustments()[1].nudge.value == 0.0);
    band.controller.hear(VersionKind::mine);
    CHECK(band.controller.adjustments()[1].nudge.value == -0.0005);
}

TEST_CASE("a held track is left alone by proposals") {
    MeasuredBand band;
    band.controller.toggleHold(1);
    band.controller.toggleHold(0);
    band.controller.toggleHold(2);
    band.controller.propose();
    REQUIRE(waitUntilIdle(band.controller));
    REQUIRE(band.controller.version(VersionKind::nudgesTo10ms));
    CHECK(band.controller.version(VersionKind::nudgesTo10ms)->flips == std::vector<bool>(4, false));
}

TEST_CASE("what is proposed while a proposal is heard starts from the recording, what was set by hand is built on") {
    MeasuredBand band;
    auto& controller = band.controller;
    controller.propose();
    REQUIRE(waitUntilIdle(controller));
    const auto flips = *controller.version(VersionKind::flips);
    CHECK_FALSE(flips.onMine);
    controller.hear(VersionKind::nudgesTo10ms);
    const auto& nudged = *controller.version(VersionKind::nudgesTo10ms);
    REQUIRE(std::any_of(nudged.nudges.begin(), nudged.nudges.end(), [](Seconds one) { return one.value != 0.0; }));
    controller.propose();
    REQUIRE(waitUntilIdle(controller));
    CHECK(controller.version(VersionKind::flips)->flips == flips.flips);
    CHECK(controller.version(VersionKind::flips)->nudges == flips.nudges); // none
    CHECK_FALSE(controller.version(VersionKind::flips)->onMine);

    controller.setNudge(2, milliseconds(0.4)); // mine, which had been nothing
    CHECK_FALSE((controller.notice() && controller.notice()->text.find("Version 5") == 0));
    controller.propose();
    REQUIRE(waitUntilIdle(controller));
    CHECK(controller.version(VersionKind::flips)->onMine);
    CHECK(controller.version(VersionKind::flips)->nudges[2] == milliseconds(0.4));
    CHECK(words::versionWorths(controller, VersionKind::flips).find("Against what was set by hand") == 0);

    controller.hear(VersionKind::asRecorded);
    controller.flip(3); // another one in its place, which is said
    REQUIRE(controller.notice());
    CHECK(controller.notice()->text == "Version 5 is now this one; undo brings back what it was.");
    controller.undo();
    controller.hear(VersionKind::mine);
    CHECK(controller.adjustments()[2].nudge == milliseconds(0.4));
}

TEST_CASE("a pair that was turned over says how it was recorded and how it stands now") {
    MeasuredBand band;
    auto& controller = band.controller;
    const auto before = words::pair(controller, 0, 1);
    REQUIRE(before.sentence.find("same sound") == 0);
    const bool inverted = before.sentence.find("upside down") != std::string::npos;
    controller.flip(1);
    const auto after = words::pair(controller, 0, 1);
    CHECK(after.sentence == "recorded: " + before.sentence);
    CHECK(after.now.find(inverted ? "now same way up, " : "now upside down, ") == 0);
    controller.setNudge(1, milliseconds(1.0));
    CHECK(words::pair(controller, 0, 1).now.find(" ms later, ") != std::string::npos);
    controller.undo();
    controller.undo();
    CHECK(words::pair(controller, 0, 1).sentence == before.sentence);
}

TEST_CASE("groups move as one in proposals, a track with a limit of its own no farther, and other terms are marked") {
    MeasuredBand band;
    auto& controller = band.controller;
    controller.propose();
    REQUIRE(waitUntilIdle(controller));
    const auto free = *controller.version(VersionKind::nudgesTo10ms);
    CHECK(free.flips[0] != free.flips[1]);
    Terms terms = controller.terms();
    CHECK(terms.group == std::vector<int>(4, 0));
    terms.group = {3, 3, 0, 0};
    terms.largest[2] = milliseconds(0.1);
    controller.setTerms(terms);
    CHECK_FALSE(controller.version(VersionKind::flips)->boundHolds);
    CHECK(words::versionProof(controller, VersionKind::flips) == "other terms: P again");
    CHECK_FALSE(controller.canUndo());
    controller.propose();
    REQUIRE(waitUntilIdle(controller));
    const auto& bound = *controller.version(VersionKind::nudgesTo10ms);
    CHECK(bound.flips[0] == bound.flips[1]);
    CHECK(bound.nudges[0].value == Approx(bound.nudges[1].value).margin(1e-9));
    CHECK(std::abs(bound.nudges[2].value) <= 0.0001 + 1e-9);
    CHECK(bound.boundHolds);
    CHECK(bound.gainDb < free.gainDb);
    CHECK(words::versionProof(controller, VersionKind::flips) == "proven best");
    controller.setTerms({});
    CHECK(controller.terms().group == std::vector<int>(4, 0));
    CHECK_FALSE(controller.version(VersionKind::flips)->boundHolds);
}

TEST_CASE("all tracks become equally loud in one step of undo") {
    MeasuredBand band;
    auto& controller = band.controller;
    controller.makeEquallyLoud();
    const auto expected = evenlyBalanced(*controller.measurement(), std::vector<TrackAdjustment>(4));
    bool any = false;
    for (std::size_t track = 0; track < 4; ++track) {
        CHECK(controller.adjustments()[track].gain.value == Approx(expected[track].gain.value));
        any = any || std::abs(expected[track].gain.value) > 1.0;
    }
    CHECK(any);
    controller.makeEquallyLoud(); // nothing more to do
    controller.undo();
    CHECK(controller.adjustments() == std::vector<TrackAdjustment>(4));
    CHECK_FALSE(controller.canUndo());
}

TEST_CASE("linked tracks move together until they are unlinked") {
    TemporaryFolder folder;
    writeSmallBand(folder.path());
    std::filesystem::rename(folder / "2 under.wav", folder / "2 hall L.wav");
    std::filesystem::rename(folder / "3 room.wav", folder / "3 hall R.wav");
    Controller controller(2);
    controller.openFolder(folder.path());
    REQUIRE(waitUntilIdle(controller));
    REQUIRE(controller.tracks()[1].linkedTo == 2);
    controller.flip(1);
    CHECK(controller.adjustments()[2].flip);
    controller.toggleLinks();
    controller.flip(1);
    CHECK_FALSE(controller.adjustments()[1].flip);
    CHECK(controller.adjustments()[2].flip);
}

TEST_CASE("solo and mute decide what is heard") {
    MeasuredBand band;
    band.controller.toggleSolo(1);
    const auto heard = band.controller.heardAdjustments();
    CHECK(heard[0].muted);
    CHECK_FALSE(heard[1].muted);
    CHECK_FALSE(band.controller.pairNow(0, 1)->heard);
    CHECK_FALSE(band.controller.adjustments()[0].muted);
    band.controller.toggleSolo(1);
    band.controller.toggleMute(0);
    CHECK(band.controller.heardAdjustments()[0].muted);
}

TEST_CASE("what cannot be opened is said in one line, and what was open stays") {
    MeasuredBand band;
    band.controller.openFolder(band.folder / "nothing here");
    REQUIRE(waitUntilIdle(band.controller));
    REQUIRE(band.controller.notice());
    CHECK(band.controller.notice()->fault);
    CHECK(band.controller.notice()->text.find("nothing here") != std::string::npos);
    CHECK(band.controller.notice()->text.find('\n') == std::string::npos);
    CHECK(band.controller.trackCount() == 4);
    CHECK(band.controller.measurement());
}

TEST_CASE("an empty folder opens nothing") {
    TemporaryFolder folder;
    Controller controller(2);
    controller.openFolder(folder.path());
    REQUIRE(waitUntilIdle(controller));
    REQUIRE(controller.notice());
    CHECK(controller.notice()->fault);
    CHECK(controller.trackCount() == 0);
    CHECK_FALSE(controller.recording());
}

TEST_CASE("the recording's own folder is never rendered into") {
    MeasuredBand band;
    RenderOptions options;
    options.to = band.folder.path();
    options.replace = true;
    band.controller.render(options);
    REQUIRE(waitUntilIdle(band.controller));
    REQUIRE(band.controller.notice());
    CHECK(band.controller.notice()->fault);
    CHECK_THAT(band.controller.notice()->text, Catch::Contains("is the recording itself, which is never written to"));
    CHECK(std::distance(std::filesystem::directory_iterator(band.folder.path()), {}) == 4); // its tracks, nothing else
}

TEST_CASE("what is heard is rendered") {
    MeasuredBand band;
    TemporaryFolder target;
    band.controller.flip(1);
    RenderOptions options;
    options.to = target / "rendered";
    band.controller.render(options);
    CHECK(band.controller.task() == Controller::Task::rendering);
    REQUIRE(waitUntilIdle(band.controller));
    REQUIRE(band.controller.notice());
    INFO(band.controller.notice()->text);
    CHECK_FALSE(band.controller.notice()->fault);

    Controller again(2);
    again.openFolder(options.to);
    REQUIRE(waitUntilIdle(again));
    REQUIRE(again.reading(0, 1));
    CHECK(again.reading(0, 1)->polarity->polarity == Polarity::same);
}

TEST_CASE("the files of one render appear together or not at all") {
    MeasuredBand band;
    auto& controller = band.controller;
    controller.keep(VersionKind::keptFirst);
    TemporaryFolder target;
    RenderOptions options;
    options.to = target / "out";
    options.sum = target / "out sum.wav";
    options.notes = target / "out notes.txt";
    const auto sums = target / "out sums";
    const auto left = [&] { return std::distance(std::filesystem::directory_iterator(target.path()), {}); };

    SECTION("a stop during the sums leaves nothing") {
        bool stopped = false;
        for (int attempt = 0; attempt < 20 && !stopped; ++attempt) { // the sums may be done before the stop arrives
            controller.render(options, sums);
            while (controller.progress() <= 0.5)
                std::this_thread::yield();
            controller.cancel();
            REQUIRE(waitUntilIdle(controller));
            REQUIRE(controller.notice());
            stopped = controller.notice()->text == "Stopped.";
            CHECK(left() == (stopped ? 0 : 4));
            for (const auto& each : {options.to, *options.sum, *options.notes, sums})
                std::filesystem::remove_all(each);
        }
        CHECK(stopped);
    }
    SECTION("a sum that stands in the way leaves nothing") {
        std::filesystem::create_directory(sums);
        std::ofstream(sums / "sums.txt") << "of before";
        controller.render(options, sums);
        REQUIRE(waitUntilIdle(controller));
        REQUIRE(controller.notice());
        CHECK(controller.notice()->fault);
        CHECK_THAT(controller.notice()->text, Catch::Contains("sums.txt: is there already"));
        CHECK(left() == 1);
        CHECK(std::distance(std::filesystem::directory_iterator(sums), {}) == 1);
    }
}

TEST_CASE("work that is stopped leaves no fault and no half result") {
    TemporaryFolder folder;
    writeSmallBand(folder.path());
    Controller controller(1);
    controller.openFolder(folder.path());
    REQUIRE(waitFor(controller, [&] { return controller.task() == Controller::Task::measuring; }));
    controller.cancel();
    REQUIRE(waitUntilIdle(controller));
    if (!controller.measurement()) { // it may have been quicker than the stop
        REQUIRE(controller.notice());
        CHECK_FALSE(controller.notice()->fault);
    }
    CHECK(controller.trackCount() == 4);
}

TEST_CASE("a newer folder takes the place of one that is still being read") {
    TemporaryFolder folder;
    writeSmallBand(folder.path());
    TemporaryFolder empty;
    Controller controller(2);
    controller.openFolder(empty.path());
    controller.openFolder(folder.path());
    REQUIRE(waitUntilIdle(controller));
    CHECK(controller.measurement());
    CHECK_FALSE(controller.notice());
}

TEST_CASE("the waveform is that of the sum that is heard") {
    MeasuredBand band;
    auto& controller = band.controller;
    for (int track : {2, 3})
        controller.toggleMute(track);
    REQUIRE(waitFor(controller, [&] { return controller.waveform().has_value(); }));
    // Lined up, what is upside down all but vanishes from the sum of the two: the noise of each, 40 dB down, is left.
    std::vector<TrackAdjustment> apart = controller.adjustments();
    apart[1].nudge = Seconds(-24.0 / 48000.0);
    std::vector<TrackAdjustment> together = apart;
    together[1].flip = true;
    const auto first = sumPeaks(*controller.recording(), apart, 100, {});
    const auto second = sumPeaks(*controller.recording(), together, 100, {});
    REQUIRE(first.ok());
    REQUIRE(second.ok());
    // The last column holds the half millisecond in which one of the two has ended.
    const auto peak = [](const SumPeaks& peaks) { return *std::max_element(peaks.high.begin(), peaks.high.end() - 1); };
    CHECK(peak(*second) > 20.0f * peak(*first));
}

TEST_CASE("readings follow the loop, and are those of the whole again at once") {
    MeasuredBand band(writeChangingBand);
    auto& controller = band.controller;
    const auto whole = controller.measurement();
    const double wholeGain = *controller.gainNowDb(), wholePair = controller.pairNow(0, 1)->gainDb;
    const auto read = [&](double from, double to) {
        controller.setLoop(Seconds(from), Seconds(to));
        REQUIRE(waitFor(controller, [&] { return !controller.readingLoop(); }));
        return *controller.reading(0, 1);
    };
    CHECK(words::reads(controller) == "reads the whole, 0:30");
    read(1.0, 14.0);
    CHECK(controller.measurement() == whole); // nobody asked for the loop

    unsigned told = 0;
    controller.addListener([&](unsigned what) { told |= what; });
    controller.toggleReadLoop();
    REQUIRE(waitFor(controller, [&] { return !controller.readingLoop(); }));
    CHECK((told & Controller::readingsChanged) != 0);
    REQUIRE(controller.readMoments());
    // A stretch is taken that lies in the loop by half: no edge is further off than half a stretch, 2.6 s.
    CHECK(controller.readMoments()->from.value == Approx(1.0).margin(2.6));
    CHECK(controller.readMoments()->to.value == Approx(14.0).margin(2.6));
    CHECK(words::reads(controller) == "reads " + words::moments(*controller.readMoments()) + " of 0:30");
    const auto before = *controller.reading(0, 1);
    CHECK(before.polarity->polarity == Polarity::inverted);
    CHECK(before.arrival->delay.value == Approx(24.0 / 48000.0).margin(5e-6)); // a quarter of a sample
    const double gainBefore = *controller.gainNowDb();
    CHECK(controller.pairNow(0, 1)->gainDb == Approx(before.summationGain.value).margin(1e-3));

    const auto after = read(16.0, 30.0);
    CHECK(after.polarity->polarity == Polarity::same);
    CHECK(after.arrival->delay.value == Approx(-48.0 / 48000.0).margin(5e-6));
    CHECK(*controller.gainNowDb() != gainBefore);
    CHECK_FALSE(controller.reading(0, 2)); // silent there
    CHECK(words::pair(controller, 0, 2).sentence == "one of the two is silent in these moments");
    CHECK_FALSE(controller.levelDbfs(2));
    CHECK(controller.tracks()[2].state == TrackState::ok);

    CHECK_FALSE(controller.canUndo());
    controller.toggleReadLoop();
    CHECK(controller.measurement() == whole);
    CHECK_FALSE(controller.readMoments());
    CHECK(*controller.gainNowDb() == wholeGain);
    CHECK(controller.pairNow(0, 1)->gainDb == wholePair);
    CHECK(words::reads(controller) == "reads the whole, 0:30");
}

TEST_CASE("of loops that follow each other quickly the newest is read") {
    MeasuredBand band(writeChangingBand);
    auto& controller = band.controller;
    controller.toggleReadLoop();
    for (double from = 0.0; from < 16.0; from += 0.5)
        controller.setLoop(Seconds(from), Seconds(from + 14.0));
    REQUIRE(waitFor(controller, [&] { return !controller.readingLoop(); }));
    REQUIRE(controller.readMoments());
    CHECK(controller.readMoments()->from.value == Approx(15.5).margin(2.6));
    // Turned off while it is on its way: it does not come after all.
    controller.setLoop(Seconds(0.0), Seconds(10.0));
    controller.toggleReadLoop();
    REQUIRE(waitFor(controller, [&] { return !controller.readingLoop(); }));
    CHECK_FALSE(controller.readMoments());
}

TEST_CASE("a proposal made from the loop says so, and its bound holds of these moments alone") {
    MeasuredBand band(writeChangingBand);
    auto& controller = band.controller;
    controller.setLoop(Seconds(0.0), Seconds(15.0));
    controller.toggleReadLoop();
    REQUIRE(waitFor(controller, [&] { return controller.readMoments().has_value(); }));
    controller.setNudge(2, milliseconds(3.0));
    controller.hear(VersionKind::flips);
    REQUIRE(waitUntilIdle(controller));
    const auto& flips = controller.version(VersionKind::flips);
    REQUIRE(flips);
    CHECK(flips->flips[0] != flips->flips[1]);
    CHECK(flips->proposedFrom == controller.readMoments());
    CHECK(flips->boundHolds);
    CHECK(words::versionProof(controller, VersionKind::flips) == "proven best");
    const auto from = "from " + words::moments(*controller.readMoments()) + ": ";
    CHECK(words::versionChanges(controller, VersionKind::flips).find(from) == 0);

    controller.toggleReadLoop();
    CHECK_FALSE(flips->boundHolds);
    CHECK(words::versionProof(controller, VersionKind::flips) == "other moments: P again");
    CHECK(words::versionChanges(controller, VersionKind::flips).find(from) == 0);
    CHECK(flips->gainDb == *controller.gainNowDb()); // of the whole
    controller.propose();
    REQUIRE(waitUntilIdle(controller));
    CHECK(flips->boundHolds);
    CHECK(words::versionChanges(controller, VersionKind::flips).find("from") == std::string::npos);
}

TEST_CASE("a track that is silent in the loop is left as it is by a proposal from the loop") {
    MeasuredBand band(writeChangingBand);
    auto& controller = band.controller;
    controller.flip(2);
    controller.setLoop(Seconds(16.0), Seconds(30.0));
    controller.toggleReadLoop();
    REQUIRE(waitFor(controller, [&] { return controller.readMoments().has_value(); }));
    controller.propose();
    REQUIRE(waitUntilIdle(controller));
    REQUIRE(controller.version(VersionKind::flips));
    CHECK(controller.version(VersionKind::flips)->flips[2]);
}

TEST_CASE("a loop in which nothing sounds is said in one line, and the whole is read") {
    MeasuredBand band([](const std::filesystem::path& folder) {
        for (const char* name : {"a.wav", "b.wav"}) {
            auto late = noise(48000 * 30, 1);
            std::fill_n(late.begin(), late.size() / 2, 0.0f);
            writeWav(folder / name, late);
        }
    });
    auto& controller = band.controller;
    const auto whole = controller.measurement();
    controller.setLoop(Seconds(0.0), Seconds(5.0));
    controller.toggleReadLoop();
    REQUIRE(waitFor(controller, [&] { return !controller.readingLoop(); }));
    REQUIRE(controller.notice());
    CHECK(controller.notice()->fault);
    CHECK(controller.notice()->text.find("nothing sounds from 0 s to 5") != std::string::npos);
    CHECK(controller.measurement() == whole);
    CHECK(controller.readsLoop()); // the next loop is read again
    controller.setLoop(Seconds(16.0), Seconds(30.0));
    REQUIRE(waitFor(controller, [&] { return !controller.readingLoop(); }));
    CHECK(controller.readMoments());
}

TEST_CASE("the first remark stands for all, and all are kept") {
    MeasuredBand band([](const std::filesystem::path& folder) {
        writeSmallBand(folder);
        writeWav(folder / "5 dead.wav", std::vector<float>(48000 * 30, 0.0f));
        std::filesystem::copy_file(folder / "3 room.wav", folder / "6 room again.wav");
    });
    auto& controller = band.controller;
    REQUIRE(controller.remarks().recording.size() == 2);
    CHECK(controller.remarks().recording == controller.measurement()->warnings);
    REQUIRE(controller.notice());
    CHECK(controller.notice()->remarks);
    CHECK(controller.notice()->text == controller.remarks().recording.front() + " (and 1 more remark)");
    CHECK(controller.remarks().count() == 2);
    controller.dismissNotice();
    CHECK(controller.remarks().recording.size() == 2);
    controller.say("something else");
    CHECK_FALSE(controller.notice()->remarks);
}

TEST_CASE("the rows of a pair give each reading its uncertainty and say how far it is to be trusted") {
    MeasuredBand band;
    const auto rowOf = [](const PairWords& told, const std::string& name) {
        for (const auto& row : told.rows)
            if (row.name == name) return row.value;
        return std::string();
    };
    const auto told = words::pair(band.controller, 0, 1);
    CHECK(told.rows.size() <= PairWords::mostRows);
    CHECK(told.sureness == "sure");
    CHECK(rowOf(told, "arrival") == "0.500 \u00b1 0.001 ms later \u00b7 almost certain, 99 %");
    CHECK(rowOf(told, "fitted").find("0.500 \u00b1 ") == 0); // 0-1, 0-2 and 1-2 close
    CHECK(rowOf(told, "polarity") == "upside down \u00b7 almost certain, 99 %");
    // 0.5 ms at 343.2 m/s, the speed of sound known to 0.27 %.
    CHECK(rowOf(told, "distance").find("17.2 \u00b1 0.1 cm \u00b7 6.7") == 0);
    CHECK(rowOf(told, "samples").find("24.0") == 0);
    CHECK(rowOf(told, "in time") == "holds still");
    CHECK(words::pair(band.controller, 0, 3).rows.size() == 1); // nothing but what coherence chance leaves

    MeasuredBand echoes(writeEchoingBand);
    const auto unsure = words::pair(echoes.controller, 0, 1);
    CHECK(unsure.sureness == "not sure");
    CHECK(rowOf(unsure, "arrival").find("a guess") != std::string::npos);
    CHECK(rowOf(unsure, "fitted") == "no triangle of pairs holds it");
}

TEST_CASE("what two tracks have in common without its being spill is told in words") {
    MeasuredBand band([](const std::filesystem::path& folder) {
        const std::size_t length = 48000 * 30;
        std::vector<float> hum(length);
        for (std::size_t n = 0; n < length; ++n)
            for (int partial : {1, 2, 3})
                hum[n] += 0.05f / static_cast<float>(partial) *
                          static_cast<float>(std::sin(2.0 * juce::MathConstants<double>::pi * 50.0 * partial *
                                                      static_cast<double>(n) / 48000.0));
        writeWav(folder / "1 a.wav", mixed(noise(length, 1, 0.05f), hum));
        writeWav(folder / "2 b.wav", mixed(noise(length, 2, 0.05f), hum));
        writeWav(folder / "3 c.wav", noise(length, 3));
        const auto printed = noise(length, 4);
        writeWav(folder / "4 d.wav", printed);
        writeWav(folder / "5 e.wav", delayed(printed, 12, 0.5f));
    });
    const auto told = [&](int first, int second) { return words::pair(band.controller, first, second); };
    CHECK(told(0, 1).sentence == "unrelated: only mains hum in common");
    CHECK(told(0, 1).now.empty());
    CHECK(told(0, 2).sentence == "unrelated: nothing in common beyond chance");
    CHECK(told(3, 4).sentence == "printed on both 0.25 ms later, same way up");
    const auto rows = told(3, 4).rows;
    CHECK(std::any_of(rows.begin(), rows.end(),
                      [](const auto& row) { return row.value == "none: by wire, no room between"; }));
    for (const auto* pair : {band.controller.reading(0, 1), band.controller.reading(3, 4)}) {
        REQUIRE(pair);
        CHECK(pair->coherenceLow <= pair->coherence);
        CHECK(pair->coherence <= pair->coherenceHigh);
    }
}
