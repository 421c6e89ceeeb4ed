#pragma once

#include "Core/Types.h"

#include <algorithm>
#include <chrono>
#include <optional>

namespace spillwright {

/// When work that may be cut short is to end; never, unless a time is given.
class Deadline {
public:
    Deadline() = default;
    /// So many seconds from now; none: never.
    explicit Deadline(std::optional<Seconds> time) {
        // Beyond a year it makes no difference, and the clock would overflow.
        if (time)
            end = Clock::now() + std::chrono::duration_cast<Clock::duration>(
                                     std::chrono::duration<double>(std::clamp(time->value, 0.0, 3e7)));
    }

    /// Seconds until then, this share of them; none: never.
    std::optional<Seconds> left(double share) const {
        if (!end) return std::nullopt;
        return Seconds(share * std::max(0.0, std::chrono::duration<double>(*end - Clock::now()).count()));
    }

    bool passed() const { return end && Clock::now() >= *end; }

    /// When this share, 0..1, of what is left from now on will have passed.
    Deadline share(double of) const {
        Deadline part;
        if (end) {
            const auto now = Clock::now();
            part.end = *end <= now ? *end : now + std::chrono::duration_cast<Clock::duration>(of * (*end - now));
        }
        return part;
    }

    friend Deadline earlier(const Deadline& a, const Deadline& b) {
        return !b.end || (a.end && *a.end <= *b.end) ? a : b;
    }

private:
    using Clock = std::chrono::steady_clock;
    std::optional<Clock::time_point> end;
};

} // namespace spillwright
