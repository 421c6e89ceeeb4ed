#pragma once

#include "Audition/Player.h"

#include <cstdint>
#include <memory>
#include <random>
#include <utility>
#include <vector>

namespace spillwright::test {

/// Somebody who tries everything the player can do, in an order that a seed decides.
class RandomUser {
public:
    /// `sound`: what is played in the tracks' place now and then.
    RandomUser(Player& p, int tracks, std::int64_t samples, unsigned seed,
               std::shared_ptr<const TrackSound> sound = nullptr)
        : player(p), length(samples), random(seed), other(std::move(sound)) {
        mix.adjustments.resize(static_cast<std::size_t>(tracks));
        mix.solo.assign(mix.adjustments.size(), false);
    }

    static constexpr int commands = 15;

    /// One of `commands`; any number stands for one.
    void perform(unsigned command) {
        TrackAdjustment& track = mix.adjustments[random() % mix.adjustments.size()];
        switch (command % commands) {
        case 0:
            track.flip = !track.flip;
            break;
        case 1:
            track.nudge = milliseconds(below(4000) * 0.01 - 20.0);
            break;
        case 2:
            track.gain = Decibels(below(20) - 15.0);
            break;
        case 3:
            track.muted = !track.muted;
            break;
        case 4:
            track.pan = below(20) * 0.1 - 1.0;
            break;
        case 5:
            track.highPass = Hertz(20.0 + below(400));
            track.highPassSlope = slopes[random() % slopes.size()];
            break;
        case 6:
            return player.seek(place());
        case 7: {
            const auto from = place();
            return player.setLoop(from, from + 2000 + place() / 2);
        }
        case 8:
            return player.setOutputLevel(Decibels(-below(30)));
        case 9:
            return player.stop();
        case 10:
            return player.play();
        case 11:
            return player.playInstead(random() % 2 == 0 ? nullptr : other);
        case 12:
            return player.setListening({static_cast<Listening::Sides>(random() % 3),
                                        random() % 2 == 0 ? std::optional(lowMidBand) : std::nullopt});
        case 13:
            mix.gain = Decibels(-below(8));
            mix.loudness = below(30) - 40.0;
            mix.less.reset();
            if (random() % 2 == 0) mix.less = HeardMix::Other{mix.adjustments, Decibels(-3.0)};
            break;
        default:
            player.meters();
            player.position();
            player.trouble();
            return;
        }
        mix.solo.front() = random() % 3 == 0;
        mix.solo.back() = random() % 2 == 0;
        player.hear(mix);
    }
    void performAny() { perform(static_cast<unsigned>(random())); }

private:
    double below(unsigned most) { return static_cast<double>(random() % most); }
    std::int64_t place() { return static_cast<std::int64_t>(random() % static_cast<unsigned long>(length)); }

    Player& player;
    const std::int64_t length;
    std::mt19937 random;
    std::shared_ptr<const TrackSound> other;
    HeardMix mix;
};

} // namespace spillwright::test
