#pragma once

#include "Audition/Player.h"
#include "Core/Measure/TakeAlignment.h"
#include "Desk/Background.h"
#include "Desk/Controller.h"
#include "Session/Takes.h"

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace spillwright::desk {

/// Another take of what is open: opened, measured, compared and lined up in the background, and heard in the place of
/// the open one, at the same place of the music and as loud. All calls [message thread].
class OtherTake {
public:
    /// `first`: the open recording, which `player` plays and which stays open for as long as this lives, or until
    /// leave().
    OtherTake(Controller& first, Player& player, const std::filesystem::path& folder);

    void poll(); ///< [30 times a second] Takes over what the background found; changes over once both can sound.

    Controller& controller() { return *second; }
    const std::string& fault() const { return wrong; } ///< One line; empty: none.
    std::string progressInWords() const;               ///< Of what is at work; empty: nothing is.
    const std::optional<Comparison>& comparison() const { return compared; }
    const TakeDifference& difference() const { return compared->differences.front(); }
    /// Everything is there that will be.
    bool settled() const;
    /// Compares anew, each track of the first with the one of the second that is said (CompareOptions::match). Nothing
    /// while something is at work.
    void match(std::vector<std::pair<std::string, std::string>> byHand);
    bool canMatch() const { return !left && second->measurement() && first.wholeMeasurement() && !work.busy(); }
    /// Hands the setting of the first on to the tracks of the second that match, so that both are looked at under one.
    void followSetting();

    // ---- which track is which; nothing before they are compared
    std::optional<int> inSecond(int trackOfFirst) const;
    std::optional<int> inFirst(int trackOfSecond) const;
    std::optional<int> comparedTrack(int trackOfFirst) const; ///< Place in the comparison.

    // ---- listening
    /// The first: the one that was open; the second: this one. At once where both can sound, else in a later poll(),
    /// the newest wish.
    void hear(bool wantSecond);
    bool secondHeard() const { return heardSecond; }
    bool secondWanted() const { return wanted.value_or(heardSecond); }
    std::string hearingInWords() const;
    /// What the player is to play of the second: the first one's setting on the tracks that match, others silent, as
    /// loud as the first is heard.
    HeardMix secondMix() const;
    /// The first one is heard again, at the same place, and the player knows of no second. False: another recording was
    /// opened meanwhile, and the player is to be told.
    bool leave();

    /// Beyond it, the two agree about a moment too little to go there.
    static constexpr double sureConfidence = 0.5;

private:
    struct Loop {
        std::int64_t from = 0, to = 0;
    };
    struct Place {
        std::int64_t sample = 0;
        bool sure = false;
    };
    void startComparing();
    void startAligning();
    void makeReady();
    void tryToChangeOver();
    std::optional<Seconds> aligned(Seconds time, bool toSecond) const;
    Loop loopInSecond() const;
    std::vector<TrackAdjustment> matched(const std::vector<TrackAdjustment>& ofFirst, bool muteOthers) const;
    void hearFirstNow();
    Place sameMoment(std::int64_t heard) const; ///< In the other one as that sample of the one that is heard.
    std::optional<double> firstLufs() const;    ///< As it is heard.
    Decibels secondLouderBy() const;

    Controller& first;
    Player& player;
    std::shared_ptr<const Recording> open; ///< Of the first.
    std::unique_ptr<Controller> second;
    std::string wrong;
    std::optional<Comparison> compared;
    std::optional<TakeAlignment> alignment;
    std::vector<std::pair<std::string, std::string>> matchedByHand;
    bool comparing = false, aligning = false, ready = false, left = false;
    Loop firstLoop, secondLoop;
    bool heardSecond = false, surelySame = false;
    std::optional<bool> wanted; ///< The second: a change over that waits for its sound.
    Workers workers;
    Background work; // last: it stops before what it uses goes
};

} // namespace spillwright::desk
