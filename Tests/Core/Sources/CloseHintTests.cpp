#include "Core/Sources/CloseHint.h"

#include <catch2/catch.hpp>

using namespace spillwright;

TEST_CASE("a track's name says where its microphone stood, where a place is named, else an instrument") {
    for (const auto* name : {"Room L", "Drums OH R", "OH2", "overheads", "Piano Room 2", "Amb-R", "kick_far", "HALL"})
        CHECK(closeHintOf(name) == CloseHint::room);
    for (const auto* name : {"Kick In", "Gtr 1 57", "Vln2", "Bass DI", "vox", "Tenor"})
        CHECK(closeHintOf(name) == CloseHint::close);
    for (const auto* name : {"", "Main L", "Stereo R", "Choir", "Audio 01", "Bassy", "Oha", "Roomy", "\xc3\xb6h"})
        CHECK(closeHintOf(name) == CloseHint::unknown);
}
