#include "TakeFixture.h"

using namespace spillwright;
using namespace spillwright::desk;
using namespace spillwright::test;

namespace {

/// Places are told to about 21 ms (TakeAlignment::step); the nearest may be a step aside.
constexpr double placeSeconds = 2.0 * 0.0214;

/// The line that it ends with.
std::string faultOf(const std::function<void(const std::filesystem::path&)>& write) {
    TwoTakes takes(write);
    takes.openOther(takes.folder.path());
    REQUIRE(takes.waitForOther([&] { return takes.other->settled(); }));
    CHECK_FALSE(takes.other->comparison());
    takes.other->hear(true);
    CHECK_FALSE(takes.other->secondWanted());
    return takes.other->fault();
}

} // namespace

TEST_CASE("another take is measured and compared in the background, its tracks found by name", "[long]") {
    TwoTakes takes;
    takes.openOther(takes.folder.path());
    CHECK_FALSE(takes.other->progressInWords().empty());
    CHECK_FALSE(takes.other->settled());
    REQUIRE(takes.waitForOther([&] { return takes.other->settled(); }));
    CHECK(takes.other->fault().empty());
    CHECK(takes.other->progressInWords().empty());
    auto& second = takes.other->controller();
    for (const auto& name : {"kick in", "kick out", "trumpet", "ride", "far"}) {
        const int here = trackCalled(takes.controller(), name), there = trackCalled(second, name);
        CHECK(takes.other->inSecond(here) == there);
        CHECK(takes.other->inFirst(there) == here);
    }
    CHECK_FALSE(takes.other->inFirst(trackCalled(second, "talkback")));
    bool inverted = false;
    for (const auto& change : takes.other->difference().changes)
        inverted =
            inverted || (change.kind == TakeChange::Kind::inverted &&
                         takes.other->comparison()->tracks[static_cast<std::size_t>(change.track)].name == "kick out");
    CHECK(inverted);
}

TEST_CASE("the takes take each other's place at the same moment of the music, equally loud", "[long]") {
    TwoTakes takes;
    takes.controller().flip(trackCalled(takes.controller(), "trumpet"));
    takes.player.seek(10 * 48000);
    takes.settle();
    auto& other = *takes.other;
    const auto mix = other.secondMix();
    CHECK(mix.adjustments[static_cast<std::size_t>(trackCalled(other.controller(), "trumpet"))].flip);
    CHECK_FALSE(mix.adjustments[static_cast<std::size_t>(trackCalled(other.controller(), "ride"))].flip);
    CHECK(mix.adjustments[static_cast<std::size_t>(trackCalled(other.controller(), "talkback"))].muted);
    // Whatever the flipped microphone and the silence before the music change, both are heard equally loud.
    REQUIRE(mix.loudness);
    const auto first = takes.controller().loudnessLufs(takes.controller().heardAdjustments());
    REQUIRE(first);
    CHECK(*mix.loudness == Approx(*first + takes.controller().heardMix().gain.value).margin(1e-9));
    CHECK(mix.gain.value > 3.0);

    takes.hear(true);
    CHECK(takes.position() == Approx(10.0 + secondTake::lateSeconds).margin(placeSeconds));
    CHECK(takes.player.loopTo() == static_cast<std::int64_t>(spillingBand::length + secondTake::lateSamples));
    CHECK(other.hearingInWords().find("B is heard, turned +") == 0);
    CHECK(other.hearingInWords().find("not surely") == std::string::npos);

    takes.player.seek(20 * 48000);
    takes.hear(false);
    CHECK(takes.position() == Approx(20.0 - secondTake::lateSeconds).margin(placeSeconds));
    CHECK(takes.player.loopTo() == static_cast<std::int64_t>(spillingBand::length));
}

TEST_CASE("the loop is the same music in the other take, and leaving goes back to it as it was", "[long]") {
    TwoTakes takes;
    takes.player.setLoop(5 * 48000, 9 * 48000);
    takes.controller().setLoop(Seconds(5.0), Seconds(9.0));
    takes.player.seek(6 * 48000);
    takes.player.play();
    takes.settle();
    takes.hear(true);
    CHECK(static_cast<double>(takes.player.loopFrom()) / 48000.0 == Approx(7.0).margin(placeSeconds));
    CHECK(static_cast<double>(takes.player.loopTo()) / 48000.0 == Approx(11.0).margin(placeSeconds));
    CHECK(takes.position() == Approx(8.0).margin(placeSeconds));
    CHECK(takes.player.playing());
    CHECK(takes.other->leave());
    CHECK(takes.player.loopFrom() == 5 * 48000);
    CHECK(takes.player.loopTo() == 9 * 48000);
    CHECK(takes.position() == Approx(6.0).margin(2.0 * placeSeconds)); // there and back
    CHECK(takes.player.playing());
    CHECK_FALSE(takes.player.besideReady());
    takes.other->hear(true);
    takes.other->poll();
    CHECK_FALSE(takes.other->secondHeard());
}

TEST_CASE("where no moment is surely the same, the other take is heard at that place of the loop, and it says so",
          "[long]") {
    TwoTakes takes(secondTake::writeOtherPlaying);
    takes.player.seek(10 * 48000);
    takes.settle();
    takes.hear(true);
    CHECK(takes.position() == Approx(10.0).margin(1e-6));
    CHECK(takes.other->hearingInWords().find("not surely the same") != std::string::npos);
}

TEST_CASE("a take that cannot be compared is refused in one line", "[long]") {
    CHECK(faultOf([](const auto&) {}).find("no ") != std::string::npos); // no tracks in it
    CHECK(faultOf([](const auto& folder) { writeWav(folder / "one.wav", noise(480000, 5)); }) != "");
    const auto silent = faultOf([](const auto& folder) {
        for (std::size_t t = 0; t < 6; ++t)
            writeWav(folder / (secondTake::fileName(t) + ".wav"), std::vector<float>(480000, 0.0f));
    });
    CHECK_FALSE(silent.empty());
    CHECK(silent.find('\n') == std::string::npos);

    TwoTakes takes;
    takes.openOther(takes.band.folder.path());
    takes.other->poll();
    CHECK(takes.other->fault().find("is the take that is open") != std::string::npos);
}
