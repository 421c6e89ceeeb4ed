#include "DeskFixture.h"

#include "Desk/Autosave.h"
#include "Session/SessionFile.h"

#include <fstream>

using namespace spillwright;
using namespace spillwright::desk;
using namespace spillwright::test;

namespace {

/// One sitting at the program, without its window.
struct Sitting {
    Controller controller{2};
    Autosave autosave;
    double clock = 100.0;

    explicit Sitting(const TemporaryFolder& top) : autosave(controller, top / "kept") {}
    void open(const std::filesystem::path& folder) {
        controller.openFolder(folder);
        REQUIRE(waitUntilIdle(controller));
    }
    void take() {
        autosave.take();
        REQUIRE(waitUntilIdle(controller));
    }
    void letPass(double seconds) {
        clock += seconds;
        autosave.poll(clock);
    }
    /// What is kept on disk, once it is written.
    std::optional<Session> onDisk() {
        for (int tries = 0; tries < 2000; ++tries) {
            autosave.poll(clock);
            if (const auto state = readSessionFile(autosave.ownFile()); state) return *state;
            std::this_thread::sleep_for(std::chrono::milliseconds(2));
        }
        return std::nullopt;
    }
};

std::size_t filesIn(const std::filesystem::path& folder) {
    std::size_t count = 0;
    for (const auto& each : std::filesystem::directory_iterator(folder))
        count += each.is_regular_file();
    return count;
}

struct Bands {
    TemporaryFolder top;
    std::filesystem::path first = top / "net loft", second = top / "barn";
    Bands() {
        for (const auto& folder : {first, second}) {
            std::filesystem::create_directories(folder);
            writeSmallBand(folder);
        }
    }
};

} // namespace

TEST_CASE("a change is kept within a second, and nothing is where nothing is unsaved") {
    Bands bands;
    Sitting sitting(bands.top);
    CHECK_FALSE(sitting.autosave.offer());
    sitting.letPass(5.0);
    sitting.open(bands.first);
    CHECK_FALSE(sitting.autosave.offer());
    sitting.letPass(5.0);
    CHECK(sitting.autosave.ownFile().empty());
    sitting.controller.flip(1);
    sitting.letPass(Autosave::keptEvery.value);
    REQUIRE_FALSE(sitting.autosave.ownFile().empty());
    const auto state = sitting.onDisk();
    REQUIRE(state);
    CHECK(state->heard.tracks[1].adjustment.flip);
    CHECK(state->unsavedOf == "");
    CHECK(filesIn(bands.top / "kept") == 1);
    // Saved: there is nothing to go on with.
    REQUIRE(sitting.controller.saveSession(bands.top / "s"));
    CHECK(filesIn(bands.top / "kept") == 0);
    sitting.controller.flip(1);
    sitting.letPass(1.0);
    CHECK(sitting.onDisk()->unsavedOf == (bands.top / "s.spillwright").string());
    sitting.controller.undo();
    sitting.letPass(1.0);
    CHECK(filesIn(bands.top / "kept") == 0);
}

TEST_CASE("what was not saved at the end is offered at the next start, and when its folder is opened") {
    Bands bands;
    {
        Sitting sitting(bands.top);
        sitting.open(bands.first);
        sitting.controller.setNudge(2, milliseconds(0.7));
        sitting.controller.keep(VersionKind::keptFirst);
    } // no second passed: the last change is kept as it closes
    {
        Sitting sitting(bands.top);
        REQUIRE(sitting.autosave.offer());
        CHECK_THAT(sitting.autosave.offer()->words, Catch::StartsWith("Go on where it stopped: 'net loft', "));
        sitting.open(bands.second);
        CHECK_FALSE(sitting.autosave.offer()); // it is the other folder's
        sitting.open(bands.first);
        REQUIRE(sitting.autosave.offer());
        CHECK(sitting.controller.adjustments()[2].nudge.value == 0.0);
        sitting.take();
        CHECK(sitting.controller.adjustments()[2].nudge.value == 0.0007);
        CHECK(sitting.controller.heardVersion() == VersionKind::keptFirst);
        CHECK(sitting.controller.sessionPath().empty());
        CHECK(sitting.controller.sessionChanged());
        CHECK_FALSE(sitting.autosave.offer());
        REQUIRE(sitting.controller.saveSession(bands.top / "s"));
    }
    CHECK(filesIn(bands.top / "kept") == 0);
    Sitting last(bands.top);
    CHECK_FALSE(last.autosave.offer());
}

TEST_CASE("a state that is gone on with belongs to the session it was of, and saves to it") {
    Bands bands;
    {
        Sitting sitting(bands.top);
        sitting.open(bands.first);
        REQUIRE(sitting.controller.saveSession(bands.top / "evening"));
        sitting.controller.toggleMute(0);
    }
    Sitting sitting(bands.top);
    REQUIRE(sitting.autosave.offer());
    CHECK_THAT(sitting.autosave.offer()->words, Catch::Contains("'evening'"));
    sitting.take();
    CHECK(sitting.controller.sessionPath() == bands.top / "evening.spillwright");
    CHECK(sitting.controller.adjustments()[0].muted);
    CHECK(sitting.controller.sessionChanged());
    REQUIRE(sitting.controller.saveSession(sitting.controller.sessionPath()));
    const auto saved = readSessionFile(bands.top / "evening.spillwright");
    REQUIRE(saved);
    CHECK(saved->heard.tracks[0].adjustment.muted);
    CHECK_FALSE(saved->unsavedOf);
}

TEST_CASE("work begun beside an offer does not take its place, and what was declined goes when the session is saved") {
    Bands bands;
    {
        Sitting sitting(bands.top);
        sitting.open(bands.first);
        sitting.controller.flip(0);
    }
    Sitting sitting(bands.top);
    sitting.open(bands.first);
    REQUIRE(sitting.autosave.offer());
    sitting.controller.flip(3);
    sitting.letPass(1.0);
    REQUIRE(sitting.onDisk());
    CHECK(filesIn(bands.top / "kept") == 2);
    REQUIRE(sitting.autosave.offer());
    const auto before = readSessionFile(sitting.autosave.offer()->file);
    REQUIRE(before);
    CHECK(before->heard.tracks[0].adjustment.flip);
    sitting.autosave.decline();
    CHECK_FALSE(sitting.autosave.offer());
    CHECK(filesIn(bands.top / "kept") == 2);
    REQUIRE(sitting.controller.saveSession(bands.top / "s"));
    CHECK(filesIn(bands.top / "kept") == 0);
}

TEST_CASE("changes made just before another folder is opened are kept") {
    Bands bands;
    Sitting sitting(bands.top);
    sitting.open(bands.first);
    sitting.controller.flip(1);
    sitting.open(bands.second);
    sitting.controller.flip(2);
    sitting.letPass(1.0);
    REQUIRE(sitting.onDisk());
    sitting.open(bands.first);
    REQUIRE(sitting.autosave.offer());
    sitting.take();
    CHECK(sitting.controller.adjustments()[1].flip);
}

TEST_CASE("a state that cannot be read is passed over, and old ones of a recording go") {
    Bands bands;
    for (int k = 0; k < 6; ++k) {
        Sitting sitting(bands.top);
        sitting.open(bands.first);
        sitting.controller.setGain(0, Decibels(1.0 + k));
        std::this_thread::sleep_for(std::chrono::milliseconds(20)); // files are told apart by their times
    }
    CHECK(filesIn(bands.top / "kept") == 4);
    std::ofstream(bands.top / "kept/broken.spillwright") << "{";
    Sitting sitting(bands.top);
    REQUIRE(sitting.autosave.offer());
    sitting.take();
    CHECK(sitting.controller.adjustments()[0].gain.value == 6.0);
}

TEST_CASE("after a clock was set back the last state is still the one that is offered") {
    Bands bands;
    {
        Sitting sitting(bands.top);
        sitting.open(bands.first);
        sitting.controller.setGain(0, Decibels(1.0));
    }
    for (const auto& file : std::filesystem::directory_iterator(bands.top / "kept"))
        std::filesystem::last_write_time(file, std::filesystem::file_time_type::clock::now() + std::chrono::hours(24));
    {
        Sitting sitting(bands.top);
        sitting.open(bands.first);
        sitting.controller.setGain(0, Decibels(2.0));
    }
    Sitting sitting(bands.top);
    REQUIRE(sitting.autosave.offer());
    sitting.take();
    CHECK(sitting.controller.adjustments()[0].gain.value == 2.0);
}

TEST_CASE("where nothing can be kept that is said once, and the work goes on") {
    Bands bands;
    std::ofstream(bands.top / "kept") << "a file is in the way";
    Sitting sitting(bands.top);
    sitting.open(bands.first);
    sitting.controller.flip(1);
    for (int tries = 0; tries < 500 && !sitting.controller.notice(); ++tries) {
        sitting.letPass(1.0);
        std::this_thread::sleep_for(std::chrono::milliseconds(2));
    }
    REQUIRE(sitting.controller.notice());
    CHECK_THAT(sitting.controller.notice()->text, Catch::Contains("nothing is kept for a restart"));
    CHECK(sitting.controller.notice()->text.find('\n') == std::string::npos);
}

TEST_CASE("the window shows the offer in one line with a button, on the start page and above a recording") {
    JuceWithoutDisplay juce;
    Bands bands;
    {
        Sitting sitting(bands.top);
        sitting.open(bands.first);
        sitting.controller.flip(1);
    }
    Sitting sitting(bands.top);
    Player player;
    Preferences preferences{juce::File(bands.top.path().string())};
    MainComponent main{{sitting.controller, player, nullptr, preferences, &sitting.autosave}};
    CHECK(main.offerBar().isVisible());
    CHECK(main.offerBar().getHeight() == OfferBar::height);
    CHECK(main.offerBar().goOnButton().getButtonText().startsWith("Go on where it stopped: 'net loft', "));
    main.offerBar().notNowButton().onClick();
    CHECK_FALSE(main.offerBar().isVisible());

    sitting.open(bands.second);
    CHECK_FALSE(main.offerBar().isVisible());
    sitting.controller.flip(0);
    sitting.open(bands.first); // what was declined is not offered again
    CHECK_FALSE(main.offerBar().isVisible());
    sitting.open(bands.second);
    CHECK(main.offerBar().isVisible());
    CHECK(main.keyPressed(juce::KeyPress('g', juce::ModifierKeys(juce::ModifierKeys::ctrlModifier), 0)));
    REQUIRE(waitUntilIdle(sitting.controller));
    CHECK(sitting.controller.adjustments()[0].flip);
    CHECK_FALSE(main.offerBar().isVisible());
}
