# Makes laps.csv: invented, fixed seed.
import random
random.seed(20261125)
levels = [(0,0,0),(4,4,0),(-4,-4,0),(0,0,0),(4,-2,0),(0,0,6),(0,0,-6),(0,0,0),(-3,3,5),(5,5,-5),
          (0,0,0),(2,-4,4),(-5,0,-4),(0,5,0),(6,6,6),(0,0,0)]
print("run,front,rear,single,age,fuel,effort,time,worn,skip")
for i,(f,r,s) in enumerate(levels):
    c,d,x=(f+r)/20,(f-r)/20,s/10
    u,v=random.gauss(0,.08),random.gauss(0,.03)
    age=[0,3,6][i%3]; fuel=[30,22,26,18][i%4]; worn=2.0*age
    n=random.randint(4,8); push=random.choice([97,99,100])
    for j in range(n):
        e=push+random.choice([-2,-1,0,0,1]); lift=(100-e)*.06+random.gauss(0,.1)
        t=91+.4*c-.2*d+.15*x+.2*x*x+.035*(age+j)+.03*(fuel-1.8*j)+lift+u+random.gauss(0,.07)
        w=2.2-.25*c+.1*d+.05*x-.6*lift+.004*(fuel-1.8*j)+v+random.gauss(0,.04)
        worn+=w
        read = j==n-1 or random.random()<.75
        skip = 1 if random.random()<.08 and j not in (0,n-1) else 0
        print(f"r{i:02d},{f},{r},{s},{age},{fuel},{e},{t:.3f},{worn:.2f},{skip}" if read else
              f"r{i:02d},{f},{r},{s},{age},{fuel},{e},{t:.3f},,{skip}")
