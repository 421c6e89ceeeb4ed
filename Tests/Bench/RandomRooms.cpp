#include "Bench/RandomRooms.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace spillwright::bench {

double energyOf(const std::vector<float>& samples) {
    double sum = 0.0;
    for (const float sample : samples)
        sum += static_cast<double>(sample) * static_cast<double>(sample);
    return sum;
}

ShoeboxRoom roughRoom(const Point& size, double decay, RandomStream& random) {
    ShoeboxRoom room;
    room.size = size;
    const double x = room.size.x, y = room.size.y, z = room.size.z;
    const double area = 2.0 * (x * y + y * z + z * x);
    const double mean = 1.0 - std::exp(-0.161 * x * y * z / (area * decay));
    const double tilt = random.between(-0.05, 0.15); // an octave
    for (auto& surface : room.absorption) {
        const double own = random.between(0.6, 1.4);
        for (std::size_t octave = 0; octave < octaves; ++octave)
            surface[octave] = std::clamp(mean * own * (1.0 + tilt * (static_cast<double>(octave) - 2.0)), 0.01, 0.95);
    }
    room.airLossDbPerMetre = {0.0003, 0.0011, 0.0028, 0.005, 0.009, 0.0229, 0.0766}; // ISO 9613-1, 20 degrees
    room.temperature = Celsius(random.between(15.0, 26.0));
    constexpr double keptDecay = 0.8; // down to -48 dB, where the fade ends
    room.decay = Seconds(keptDecay * decay);
    room.scatter = Metres(0.15);
    return room;
}

Point anyPlace(const ShoeboxRoom& room, RandomStream& random) {
    constexpr double fromWall = 0.4;
    return {random.between(fromWall, room.size.x - fromWall), random.between(fromWall, room.size.y - fromWall),
            random.between(0.3, std::min(2.2, room.size.z - fromWall))};
}

Point placeNear(const ShoeboxRoom& room, const Point& centre, double distance, RandomStream& random) {
    for (int attempt = 0; attempt < 100; ++attempt) {
        const double up = random.between(-0.7, 0.9), around = random.between(0.0, 2.0 * std::numbers::pi);
        const double flat = distance * std::sqrt(1.0 - up * up);
        const Point place{centre.x + flat * std::cos(around), centre.y + flat * std::sin(around),
                          centre.z + distance * up};
        bool inside = true;
        for (int axis = 0; axis < 3; ++axis)
            inside = inside && place[axis] > 0.1 && place[axis] < room.size[axis] - 0.1;
        if (inside) return place;
    }
    return anyPlace(room, random);
}

double logBetween(double low, double high, RandomStream& random) {
    return low * std::pow(high / low, random.uniform());
}

} // namespace spillwright::bench
