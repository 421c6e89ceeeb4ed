#pragma once

#include "Core/RandomStream.h"
#include "Core/Scene/Scene.h"

#include <vector>

namespace spillwright::bench {

/// Surfaces that differ, and soak up more towards the treble, for an RT60 by Eyring's formula at 500 Hz. `decay`:
/// seconds.
ShoeboxRoom roughRoom(const Point& size, double decay, RandomStream& random);

/// Anywhere, not at a wall.
Point anyPlace(const ShoeboxRoom& room, RandomStream& random);

/// At a distance (metres) from a point, in any direction that stays in the room.
Point placeNear(const ShoeboxRoom& room, const Point& centre, double distance, RandomStream& random);

double logBetween(double low, double high, RandomStream& random);

double energyOf(const std::vector<float>& samples);

} // namespace spillwright::bench
