#include "Core/Sources/PowerModel.h"

#include <cmath>

namespace spillwright {

double divergence(const Eigen::ArrayXf& of, const Eigen::ArrayXf& from) {
    return static_cast<double>((of * (of / from).log() - of + from).sum());
}

PowerSum sumOfParts(const Eigen::MatrixXf& parts, const Eigen::ArrayXf& wanted, int updates) {
    Eigen::VectorXf weights = Eigen::VectorXf::Constant(parts.cols(), 1.0f / static_cast<float>(parts.cols()));
    const Eigen::ArrayXf sums = parts.colwise().sum().transpose();
    Eigen::VectorXf sum = parts * weights;
    for (int update = 0; update < updates; ++update) {
        weights.array() *= (parts.transpose() * (wanted / sum.array()).matrix()).array() / sums;
        sum.noalias() = parts * weights;
    }
    return {weights.array() * sums, sum.array()};
}

Eigen::ArrayXf broughtByParts(const Eigen::MatrixXf& parts, const Eigen::ArrayXf& wanted,
                              const Eigen::ArrayXf& expected, const Eigen::ArrayXf& most, int updates) {
    constexpr float shape = 2.0f, lowestRung = 1e-3f, leastSum = 1e-6f;
    constexpr float evidence = 1.0f;  // windows that the expectation is worth
    constexpr float everyRung = 0.1f; // windows in which any rung may be taken for granted
    constexpr Eigen::Index rungs = 17;
    const auto rows = parts.rows();
    Eigen::ArrayXf ladder = Eigen::ArrayXf::Zero(rungs);
    for (Eigen::Index rung = 1; rung < rungs; ++rung)
        ladder(rung) = lowestRung * std::exp2(static_cast<float>(rung - 1));
    Eigen::ArrayXf often = Eigen::ArrayXf::Constant(rungs, 1.0f / static_cast<float>(rungs));
    Eigen::ArrayXf multiples = expected.min(most);
    Eigen::ArrayXXf inverse(rows, rungs), likely(rows, rungs);
    for (int update = 0; update < updates; ++update) {
        const Eigen::ArrayXf sum = (parts * multiples.matrix()).array();
        for (Eigen::Index rung = 0; rung < rungs; ++rung) {
            inverse.col(rung) = (sum + ladder(rung)).max(leastSum).inverse();
            likely.col(rung) = shape * (inverse.col(rung).log() - wanted * inverse.col(rung)) + std::log(often(rung));
        }
        const Eigen::ArrayXf likeliest = likely.rowwise().maxCoeff();
        likely = (likely.colwise() - likeliest).exp();
        const Eigen::ArrayXf all = likely.rowwise().sum();
        likely.colwise() /= all;
        often = (likely.colwise().sum().transpose() + everyRung) /
                (static_cast<float>(rows) + everyRung * static_cast<float>(rungs));
        // Gradient of the likelihood, what raises the multiples over what lowers them.
        likely *= inverse;
        const Eigen::VectorXf down = likely.rowwise().sum().matrix();
        const Eigen::VectorXf up = ((likely * inverse).rowwise().sum() * wanted).matrix();
        const Eigen::ArrayXf raises = shape * (parts.transpose() * up).array() + evidence / multiples;
        const Eigen::ArrayXf lowers = shape * (parts.transpose() * down).array() + evidence / expected;
        multiples = (multiples * (raises / lowers).sqrt()).min(most);
    }
    return multiples;
}

} // namespace spillwright
